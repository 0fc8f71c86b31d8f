"""What grid files say at one site: each useful field's value there, still in the file's words.

A cut is small, is decoded once and can be kept as text; hours are made from it by arithmetic
alone (``site_hours``), without the decoder and without the grid files.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from rules.errors import CloseinError, Faults, WeatherFileFault, WeatherUnavailable
from scheduler.planning.model.job import Site
from scheduler.planning.tables.hours import Finding
from scheduler.weather.grids.cells import Cells, Method, find_cells
from scheduler.weather.grids.decode import DecodeFault, Decoder
from scheduler.weather.grids.framing import fields_of
from scheduler.weather.grids.grid import Grid
from scheduler.weather.grids.messages import FieldRow, Message, sort_out, without_repeats
from scheduler.weather.grids.product import Product

WANTED: Final = "want temperature, wind, rain or another weather column on a grid that is read"
LARGEST_BYTES: Final = 2_000_000_000  # one file; the largest public model files have below 1 GB


@dataclass(frozen=True, slots=True)
class CellAt:
    """The cell that stands for the site on one grid."""

    grid: str  # kind and size of the grid
    row: int
    column: int
    latitude_deg: float
    longitude_deg: float
    distance_km: float
    spacing_km: float
    is_global: bool
    eastward_turn: float  # of the grid's y direction, radians; 0 where winds are true
    method: Method = Method.NEAREST


@dataclass(frozen=True, slots=True)
class PointValue:
    """One field's value at the site, in the file's unit; NaN where the field has none."""

    row: FieldRow
    product: Product
    grid_key: str
    value: float


@dataclass(frozen=True, slots=True)
class Cut:
    """All useful values at a site."""

    points: tuple[PointValue, ...]
    cells: dict[str, CellAt]  # by grid_key
    identity: str  # SHA-256 over the files as they came
    findings: tuple[Finding, ...] = ()


def cut_files(
    paths: Sequence[Path], site: Site, *, method: Method = Method.NEAREST, decoder: Decoder
) -> Cut:
    """Read the site's values from GRIB2 files.

    Raises
    ------
    Faults
        If no file can be used; one fault for each. One bad file beside good ones is a finding.
    WeatherUnavailable
        If no file's grid covers the site.
    """
    digest = hashlib.sha256()
    cutter = Cutter(site, method=method, decoder=decoder)
    for path in paths:
        try:
            content = grid_bytes(path)
            digest.update(content)
            cutter.add(content, path.name)
        except CloseinError as error:
            cutter.failed(error)
    return cutter.cut(digest.hexdigest())


def grid_bytes(path: Path) -> bytes:
    """Return a grid file's bytes.

    Raises
    ------
    WeatherFileFault
        If it cannot be read or is larger than any such file.
    """
    try:
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            want = f"a grid file is smaller than {LARGEST_BYTES / 1e9:.0f} GB"
            raise WeatherFileFault(path.name, "size", f"{size / 1e9:.1f} GB", want)
        return path.read_bytes()
    except OSError as error:
        told = error.strerror or str(error)
        raise WeatherFileFault(path.name, "the file", told, "want a file") from error


class Cutter:
    """Collects values at one site from one file's content after another."""

    def __init__(self, site: Site, *, method: Method, decoder: Decoder) -> None:
        self._lat, self._lon = np.array([site.latitude_deg]), np.array([site.longitude_deg])
        self._method, self._decoder = method, decoder
        self._where: dict[str, tuple[Cells, CellAt]] = {}
        self._points: list[PointValue] = []
        self._problems: list[CloseinError] = []
        self._elsewhere: list[str] = []
        self.heads: list[tuple[int, bytes, bytes]] = []  # discipline, sections 1 and 4 by point

    def add(self, content: bytes, name: str) -> None:
        """Add what one file says.

        Raises
        ------
        WeatherFileFault
            If the file is damaged or has no field that serves.
        """
        sorting = sort_out(fields_of(content, name))
        if not sorting.chosen:
            said = "; ".join(without_repeats(sorting.refused or sorting.unused))
            raise WeatherFileFault(name, "every field", said, WANTED)
        for message in sorting.chosen:
            cells, at = self._cells(message.grid, message.grid_key)
            if not cells.covered[0]:
                self._elsewhere.append(f"{name}: its {at.grid} grid does not cover the site")
                continue
            self._take(message, cells, name)

    def _take(self, message: Message, cells: Cells, name: str) -> None:
        stored = message.grid.stored_at(cells.rows, cells.columns)
        try:
            values = self._decoder.values(message.raw.message(), stored)
        except DecodeFault as error:
            field = f"message {message.raw.number} ({message.row.column})"
            fault = WeatherFileFault(name, field, str(error), "damaged")
            self._problems.append(fault)
            return
        value = float(cells.combine(values)[0])
        self._points.append(PointValue(message.row, message.product, message.grid_key, value))
        raw = message.raw
        self.heads.append((raw.discipline, raw.identification, raw.product))

    def _cells(self, grid: Grid, key: str) -> tuple[Cells, CellAt]:
        if key not in self._where:
            cells = find_cells(grid, self._lat, self._lon, self._method)
            self._where[key] = cells, _cell_at(grid, cells, self._method)
        return self._where[key]

    def failed(self, error: CloseinError) -> None:
        """Note a file that could not be used."""
        self._problems.append(error)

    def cut(self, identity: str) -> Cut:
        """Return what was collected; raises as :func:`cut_files` does."""
        if not self._points:
            if self._problems:
                raise Faults(self._problems)
            raise WeatherUnavailable("; ".join(without_repeats(self._elsewhere)) or "no grid file")
        covered = [point for point in self._points if not np.isnan(point.value)]
        if not covered:
            raise WeatherUnavailable(
                "not covered: the grids have no values at the site's cell"
                + (" or beside it" if self._method is Method.BILINEAR else "")
            )
        lines = [line for problem in self._problems for line in problem.lines()]
        lines += list(without_repeats(self._elsewhere))
        used = {point.grid_key for point in self._points}
        return Cut(
            points=tuple(self._points),
            cells={key: at for key, (_, at) in self._where.items() if key in used},
            identity=identity,
            findings=tuple(Finding("", line) for line in lines),
        )


def _cell_at(grid: Grid, cells: Cells, method: Method) -> CellAt:
    lat, lon = cells.latitude[0], cells.longitude[0]
    turn = 0.0
    if grid.winds_along_grid:
        turn = float(grid.eastward_turn(cells.latitude, cells.longitude)[0])
    nearest = find_cells(grid, lat, lon)
    return CellAt(
        grid=f"{grid.kind} {grid.rows} x {grid.columns}",
        row=int(nearest.rows[0, 0]),
        column=int(nearest.columns[0, 0]),
        latitude_deg=float(lat),
        longitude_deg=float(lon),
        distance_km=float(cells.distance_km[0]),
        spacing_km=grid.spacing_km,
        is_global=grid.wraps,
        eastward_turn=turn,
        method=method,
    )
