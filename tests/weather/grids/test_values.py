"""Values at cells equal those of other readers: ecCodes' nearest-cell tool, and pygrib."""

from __future__ import annotations

import importlib.util
import os
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from scheduler.weather.grids.cells import find_cells
from scheduler.weather.grids.decode import Decoder
from scheduler.weather.grids.framing import fields_of
from scheduler.weather.grids.grid import Grid, grid_of
from tests.recorded_data import recorded_files
from tests.weather.grids.second_readers import ask

FILES = recorded_files("grib2", "*.grib2")
LARGE = 500_000  # points; others take about a second for each place of such a field
TOLERANCE = 1e-4
pytestmark = pytest.mark.skipif(
    importlib.util.find_spec("eccodes") is None, reason="the grids extra is not installed"
)


@cache
def grids(path: Path) -> list[Grid]:
    return [grid_of(field.grid) for field in fields_of(path.read_bytes(), path.name)]


def places(grid: Grid, count: int) -> list[tuple[float, float]]:
    """Places near cells of odd and even rows and columns, never half way between two."""
    rng = np.random.default_rng(grid.rows)
    rows = rng.integers(0, grid.rows, count) // 2 * 2 + np.arange(count) % 2
    rows, columns = np.minimum(rows, grid.rows - 1), rng.integers(0, grid.columns, count)
    inner = (rows > 0) & (rows < grid.rows - 1) & (columns > 0) & (columns < grid.columns - 1)
    shift = np.where(inner, rng.uniform(-0.3, 0.3, count), 0.0)
    lat, lon = grid.place(rows + shift, columns - shift)
    return list(zip(lat.tolist(), lon.tolist(), strict=True))


def ours(path: Path, wanted: list[tuple[float, float]]) -> np.ndarray:
    lat, lon = (np.array(part) for part in zip(*wanted, strict=True))
    found = []
    with Decoder() as decoder:
        for field in fields_of(path.read_bytes(), path.name):
            grid = grid_of(field.grid)
            cells = find_cells(grid, lat, lon)
            assert cells.covered.all()
            at = grid.stored_at(cells.rows, cells.columns)
            found.append(cells.combine(decoder.values(field.message(), at)))
    return np.array(found)


def compare(path: Path, reader: str) -> None:
    wanted = places(grids(path)[0], count(path))
    theirs = np.array(ask(reader, path, wanted), dtype=np.float64)
    mine = ours(path, wanted)
    assert mine.shape == theirs.shape, "as many fields as the other reader finds"
    assert np.array_equal(np.isnan(mine), np.isnan(theirs)), "the same points are missing"
    scale = np.maximum(1.0, np.abs(np.nan_to_num(theirs)))
    assert np.nanmax(np.abs(mine - theirs) / scale, initial=0.0) <= TOLERANCE


def count(path: Path) -> int:
    large = grids(path)[0].rows * grids(path)[0].columns > LARGE
    return 1 if large and not os.environ.get("CLOSEIN_SOAK") else 12


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_values_equal_ecCodes_own_nearest_cell(path: Path) -> None:
    compare(path, "eccodes")


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_values_equal_a_second_reader(path: Path) -> None:
    if importlib.util.find_spec("pygrib") is None:
        pytest.skip("pygrib is not installed")
    compare(path, "pygrib")
