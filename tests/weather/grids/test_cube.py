"""A cube, series picked while decoding, and the reading for one site say the same."""

from __future__ import annotations

import importlib.util
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from rules.errors import BadInput, Faults
from scheduler.planning.model.job import Site
from scheduler.weather.grids import cube as cubes
from scheduler.weather.grids.cells import Method
from scheduler.weather.grids.cube import decode_cube, series_of_files
from scheduler.weather.grids.decode import Decoder
from scheduler.weather.grids.forecast import Reading, read_grid_files
from tests.recorded_data import recorded
from tests.weather.grids import making

pytestmark = pytest.mark.skipif(
    importlib.util.find_spec("eccodes") is None, reason="the grids extra is not installed"
)
RUN = datetime(2026, 11, 20, 6, tzinfo=UTC)
GRID = making.lambert(40, 50, 40.0, -98.0, 30000.0, centre_lon=-97.5, parallels=(38.5, 38.5))
SNAKING = making.lambert(
    40, 50, 40.0, -98.0, 30000.0, centre_lon=-97.5, parallels=(38.5, 38.5), scan=0x50
)
LAT, LON = np.array([44.0, 47.3, 41.1]), np.array([-93.0, 270.2, -96.4])
COLUMNS = (
    "air_temperature_c",
    "wind_speed_ms",
    "precipitation_amount_mm",
    "wind_speed_of_gust_ms",
    "precipitation_probability_pct",
)


@pytest.fixture(scope="module")
def decoder() -> Iterator[Decoder]:
    with Decoder() as one:
        yield one


def snake(values: np.ndarray) -> np.ndarray:
    values = values.copy()
    values[1::2] = values[1::2, ::-1]
    return values


@pytest.fixture(scope="module")
def paths(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Five hourly files of an hourly model; the temperature's rows alternate."""
    folder = tmp_path_factory.mktemp("cube")
    rng = np.random.default_rng(5)
    rain = np.zeros((40, 50))
    paths = []
    for lead in range(1, 6):
        rain = rain + rng.gamma(0.5, 2.0, rain.shape)
        air = rng.uniform(270, 274, rain.shape)
        air[3, 4] = np.nan
        parts = [
            (SNAKING, snake(air), (0, 0, 0), (103, 2), {}),
            (GRID, rng.normal(0, 5, rain.shape), (0, 2, 2), (103, 10), {}),
            (GRID, rng.normal(0, 5, rain.shape), (0, 2, 3), (103, 10), {}),
            (GRID, rain, (0, 1, 8), (1, 0), {"since": 0}),
            (GRID, rng.uniform(30, 40, rain.shape), (0, 2, 22), (1, 0), {}),
            (GRID, rng.uniform(0, 99, rain.shape), (0, 1, 8), (1, 0),
             {"since": lead - 1, "above_mm": 0.254}),
        ]  # fmt: skip
        paths.append(folder / f"f{lead:02d}.grib2")
        content = [
            making.field(RUN, grid, values, parameter, level, lead=lead, **how)
            for grid, values, parameter, level, how in parts
        ]
        paths[-1].write_bytes(b"".join(content))
    return paths


@pytest.mark.parametrize("method", Method)
def test_three_ways_to_a_site_agree(paths: list[Path], decoder: Decoder, method: Method) -> None:
    cube = decode_cube(paths, decoder)
    from_cube = cube.series(LAT, LON, method)
    start, picked = series_of_files(paths, LAT, LON, decoder, method=method)
    assert set(COLUMNS) <= set(from_cube)
    assert set(from_cube) == set(picked)
    for number, (lat, lon) in enumerate(zip(LAT, LON, strict=True)):
        site = Site("x", lat, lon, 0.0, "UTC")
        alone = read_grid_files(paths, site, Reading(method=method), decoder).table
        assert alone.start.tolist() == cube.start.tolist() == start.tolist()
        for name in COLUMNS:
            want = alone.column(name)
            if name == "wind_speed_ms" and method is Method.BILINEAR:
                continue  # a site's wind is made of parts, a cube's of speeds
            assert from_cube[name][number] == pytest.approx(want, abs=1e-4, nan_ok=True)
            assert picked[name][number] == pytest.approx(want, abs=1e-4, nan_ok=True)


def test_cells_are_kept_as_y_x_time_in_single_precision(
    paths: list[Path], decoder: Decoder
) -> None:
    cube = decode_cube(paths, decoder, only=["air_temperature_c"])
    assert set(cube.columns) == {"air_temperature_c"}
    values = cube.columns["air_temperature_c"]
    assert values.shape == (40, 50, 5)
    assert values.dtype == np.float32
    assert values.flags.c_contiguous
    assert np.isnan(values[3, 4]).all()
    assert np.isfinite(np.delete(values.reshape(-1, 5), 3 * 50 + 4, axis=0)).all()


def test_amounts_of_the_whole_grid_are_conserved(paths: list[Path], decoder: Decoder) -> None:
    cube = decode_cube(paths, decoder, only=["precipitation_amount_mm"])
    hourly = cube.columns["precipitation_amount_mm"].astype(np.float64)
    last = decode_cube(paths[-1:], decoder, only=["precipitation_amount_mm"])
    total = last.columns["precipitation_amount_mm"].astype(np.float64).sum(axis=-1)
    assert hourly.sum(axis=-1) == pytest.approx(total, abs=1e-3)


def test_places_outside_are_unknown(paths: list[Path], decoder: Decoder) -> None:
    cube = decode_cube(paths, decoder, only=["air_temperature_c"])
    for method in Method:
        got = cube.series(np.array([10.0, 44.0]), np.array([-93.0, -93.0]), method)
        assert np.isnan(got["air_temperature_c"][0]).all()
        assert np.isfinite(got["air_temperature_c"][1]).all()


def test_members_lead(tmp_path: Path, decoder: Decoder) -> None:
    paths = []
    for number in (1, 2, 3):
        paths.append(tmp_path / f"{number}.grib2")
        parts = [
            making.field(RUN, GRID, np.full(2000, 270.15 + number), (0, 0, 0), (103, 2),
                         lead=lead, member=(3, number))
            for lead in (1, 2)
        ]  # fmt: skip
        paths[-1].write_bytes(b"".join(parts))
    cube = decode_cube(paths, decoder)
    assert cube.columns["air_temperature_c"].shape == (3, 40, 50, 2)
    want = np.array([[[-2.0] * 2] * 3, [[-1.0] * 2] * 3, [[0.0] * 2] * 3])
    assert cube.series(LAT, LON)["air_temperature_c"] == pytest.approx(want, abs=1e-4)


def test_a_cube_that_would_not_fit_is_refused(
    paths: list[Path], decoder: Decoder, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cubes, "MOST_BYTES", 1000)
    with pytest.raises(BadInput, match="GB; name fewer columns"):
        decode_cube(paths, decoder)


def test_different_grids_are_not_mixed(
    paths: list[Path], tmp_path: Path, decoder: Decoder
) -> None:
    other = tmp_path / "other.grib2"
    grid = making.latlon(3, 3, 45.0, -94.0, 1.0)
    other.write_bytes(making.field(RUN, grid, [0.0] * 9, (0, 0, 0), (103, 2), lead=9))
    with pytest.raises(BadInput, match="different grids"):
        decode_cube([*paths, other], decoder)


def test_files_without_the_column_are_refused(
    paths: list[Path], tmp_path: Path, decoder: Decoder
) -> None:
    with pytest.raises(BadInput, match="none of the columns snow_depth_mm"):
        decode_cube(paths, decoder, only=["snow_depth_mm"])
    (tmp_path / "bad.grib2").write_bytes(b"<html>")
    with pytest.raises(BadInput, match=r"bad\.grib2"):
        decode_cube([tmp_path / "bad.grib2"], decoder)
    (tmp_path / "high.grib2").write_bytes(
        making.field(RUN, GRID, np.zeros(2000), (0, 0, 0), (100, 50000), lead=1)
    )
    with pytest.raises(Faults, match="every field"):
        decode_cube([tmp_path / "high.grib2"], decoder)


def test_the_recorded_national_blend_cell_by_cell(decoder: Decoder) -> None:
    path = recorded("grib2", "nbm-conus-tmpsfc-tmp2m-tcdc-2026061612-f001.grib2")
    cube = decode_cube([path], decoder)
    rows, columns = np.array([1323, 1004, 111]), np.array([218, 87, 2099])
    lat, lon = cube.grid.place(rows, columns)
    picked = series_of_files([path], lat, lon, decoder)[1]
    for name, values in cube.series(lat, lon).items():
        assert values == pytest.approx(picked[name], abs=1e-4, nan_ok=True)
