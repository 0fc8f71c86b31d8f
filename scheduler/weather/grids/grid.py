"""The grid of a GRIB2 field: which cell lies where, and where its value is stored.

Rows and columns are counted from the first point of the file in the file's own scanning
directions, so ``row`` 0, ``column`` 0 is the first stored value under every scanning mode.

References
----------
WMO-No. 306, Manual on Codes, volume I.2: templates 3.0, 3.1, 3.10, 3.20, 3.30 and 3.40, code
tables 3.1 and 3.2, flag tables 3.3 (component directions) and 3.4 (scanning mode).
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.errors import BadInput
from rules.verdict import FloatArray
from scheduler.weather.grids.projections import (
    Earth,
    Gaussian,
    Lambert,
    LatLon,
    Mercator,
    Plane,
    PolarStereographic,
    RotatedLatLon,
    gaussian_latitudes,
)

IntArray = NDArray[np.int64]

NAMES: Final = {  # code table 3.1; only those below with a reader are read
    0: "latitude-longitude",
    1: "rotated latitude-longitude",
    2: "stretched latitude-longitude",
    3: "stretched and rotated latitude-longitude",
    4: "variable-resolution latitude-longitude",
    5: "variable-resolution rotated latitude-longitude",
    10: "Mercator",
    12: "transverse Mercator",
    13: "Mercator with modelling subdomains",
    20: "polar stereographic",
    23: "polar stereographic with modelling subdomains",
    30: "Lambert conformal",
    31: "Albers equal-area",
    33: "Lambert conformal with modelling subdomains",
    40: "Gaussian",
    41: "rotated Gaussian",
    50: "spherical harmonics",
    90: "space view",
    100: "triangular icosahedral",
    101: "unstructured",
    110: "equatorial azimuthal equidistant",
    140: "Lambert azimuthal equal-area",
    150: "HEALPix",
    204: "curvilinear orthogonal",
    1000: "cross-section",
    1200: "time section",
    32768: "Arakawa staggered rotated latitude-longitude",
    32769: "Arakawa non-staggered rotated latitude-longitude",
}
EARTHS: Final = {  # code table 3.2, those with a size of their own
    0: Earth(6367470.0),
    2: Earth.of_axes(6378160.0, 6356775.0),
    4: Earth.of_axes(6378137.0, 6356752.314140),
    5: Earth.of_axes(6378137.0, 6356752.314245),
    6: Earth(6371229.0),
    8: Earth(6371200.0),
}
MISSING: Final = 0xFFFFFFFF
MOST_POINTS: Final = 200_000_000  # of one field; the finest public global grids have 26 million
BACKWARD, UPWARD, COLUMNWISE, SNAKING = 0x80, 0x40, 0x20, 0x10  # flag table 3.4
ALONG_GRID: Final = 0x08  # flag table 3.3: wind components follow the grid


class UnknownGrid(BadInput):
    """A grid that is not read; says its name."""


@dataclass(frozen=True, slots=True)
class Grid:
    """Cells in rows and columns on a plane, evenly spaced."""

    kind: str
    rows: int
    columns: int
    scanning: int
    plane: Plane
    earth: Earth
    origin: tuple[float, float]  # plane coordinates of the first stored point
    step: tuple[float, float]  # from column to column and from row to row, signed
    period: float = 0.0  # plane length of 360 degrees of longitude; 0 where x does not repeat
    winds_along_grid: bool = False

    @property
    def wraps(self) -> bool:
        """Return whether the last column is the first one's neighbour."""
        if not self.period:
            return False
        return abs(self.columns * abs(self.step[0]) - self.period) < 0.5 * abs(self.step[0])

    def spot(self, lat: FloatArray, lon: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return row and column of points as real numbers, NaN or outside where not covered."""
        x, y = self.plane.forward(lat, lon)
        across = (x - self.origin[0]) * np.sign(self.step[0])
        if self.period:
            half = abs(self.step[0]) / 2.0
            across = (across + half) % self.period - half
        return (y - self.origin[1]) / self.step[1], across / abs(self.step[0])

    def place(
        self, row: FloatArray | IntArray, column: FloatArray | IntArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return latitude and longitude in degrees, -180 to 180, of rows and columns."""
        x = self.origin[0] + np.asarray(column, dtype=np.float64) * self.step[0]
        y = self.origin[1] + np.asarray(row, dtype=np.float64) * self.step[1]
        lat, lon = self.plane.inverse(x, y)
        return lat, (lon + 180.0) % 360.0 - 180.0

    def covers(self, row: FloatArray, column: FloatArray) -> NDArray[np.bool_]:
        """Tell which points lie on the grid or within half a cell of it."""
        with np.errstate(invalid="ignore"):
            inside = (row >= -0.5) & (row <= self.rows - 0.5)
            inside &= (column >= -0.5) & ((column <= self.columns - 0.5) | self.wraps)
        result: NDArray[np.bool_] = inside
        return result

    def stored_at(self, row: IntArray, column: IntArray) -> IntArray:
        """Return the position in the message of cells, under the field's scanning mode."""
        row, column = np.asarray(row), np.asarray(column)
        if self.scanning & COLUMNWISE:
            turned = (column % 2 == 1) & bool(self.scanning & SNAKING)
            return column * self.rows + np.where(turned, self.rows - 1 - row, row)
        turned = (row % 2 == 1) & bool(self.scanning & SNAKING)
        return row * self.columns + np.where(turned, self.columns - 1 - column, column)

    def arrange(self, values: FloatArray) -> FloatArray:
        """Return stored values as (rows, columns); a new array only where lines alternate."""
        columnwise = bool(self.scanning & COLUMNWISE)
        shape = (self.columns, self.rows) if columnwise else (self.rows, self.columns)
        table = values.reshape(*values.shape[:-1], *shape)
        if self.scanning & SNAKING:
            table = table.copy()
            table[..., 1::2, :] = table[..., 1::2, ::-1].copy()
        return np.swapaxes(table, -1, -2) if columnwise else table

    def eastward_turn(self, lat: FloatArray, lon: FloatArray) -> FloatArray:
        """Return how far the plane's y direction points east of north, in radians."""
        x, y = self.plane.forward(lat, lon)
        ahead = abs(self.step[1]) * 1e-3
        north, east = self.plane.inverse(x, y + ahead)
        east_part = np.radians((east - lon + 180.0) % 360.0 - 180.0) * np.cos(np.radians(lat))
        turn: FloatArray = np.arctan2(east_part, np.radians(north - lat))
        return turn

    @property
    def spacing_km(self) -> float:
        """Return the distance between rows in kilometres, at the grid's middle."""
        row = np.array([self.rows // 2, self.rows // 2 - 1], dtype=np.float64)
        lat, lon = self.place(row, np.full(2, self.columns // 2, dtype=np.float64))
        return float(distance_km(lat[:1], lon[:1], lat[1:], lon[1:], self.earth.radius_m)[0])


def distance_km(
    lat: FloatArray, lon: FloatArray, to_lat: FloatArray, to_lon: FloatArray, radius_m: float
) -> FloatArray:
    """Return great-circle distances on a sphere, by the haversine."""
    a, b = np.radians(lat), np.radians(to_lat)
    half = np.radians(np.asarray(to_lon) - np.asarray(lon)) / 2.0
    inner = np.sin((b - a) / 2.0) ** 2 + np.cos(a) * np.cos(b) * np.sin(half) ** 2
    km: FloatArray = 2.0 * radius_m / 1000.0 * np.arcsin(np.sqrt(np.clip(inner, 0.0, 1.0)))
    return km


def grid_of(section: bytes) -> Grid:
    """Read section 3.

    Raises
    ------
    UnknownGrid
        If the grid is not of a kind that is read, or its numbers contradict each other.
    """
    points, list_octets, template = struct.unpack_from(">IBxH", section, 6)
    name = NAMES.get(template, f"number {template}")
    reader = READERS.get(template)
    if reader is None:
        raise UnknownGrid(f"{name} grids (template 3.{template}) are not read")
    if list_octets or MISSING in struct.unpack_from(">II", section, 30):
        raise UnknownGrid(f"reduced {name} grids (rows of different length) are not read")
    try:
        with np.errstate(all="ignore"):
            grid = reader(section)
    except (struct.error, IndexError, ArithmeticError) as error:
        raise UnknownGrid(f"the {name} grid's definition is cut short or senseless") from error
    if grid.scanning & 0x0F:
        raise UnknownGrid(f"{name} grids with staggered rows are not read")
    if grid.rows * grid.columns != points or not 1 < points <= MOST_POINTS:
        raise UnknownGrid(f"{grid.rows} x {grid.columns} {name} grid for {points} points; damaged")
    numbers = (*grid.origin, *grid.step, grid.earth.radius_m)
    if not np.isfinite(numbers).all() or 0.0 in grid.step:
        raise UnknownGrid(f"the {name} grid's definition is senseless; damaged")
    return grid


def _earth(section: bytes) -> Earth:
    shape, scale, radius, major_scale, major, minor_scale, minor = struct.unpack_from(
        ">BBIBIBI", section, 14
    )
    if shape in EARTHS:
        return EARTHS[shape]
    if shape == 1:
        return Earth(radius / 10.0 ** _signed(scale, 8))
    if shape in (3, 7):
        unit = 1000.0 if shape == 3 else 1.0
        return Earth.of_axes(
            unit * major / 10.0 ** _signed(major_scale, 8),
            unit * minor / 10.0 ** _signed(minor_scale, 8),
        )
    raise UnknownGrid(f"shape of the earth {shape} is not known")


def _signed(value: int, bits: int = 32) -> int:
    """Read a GRIB number: the highest bit is the sign."""
    top = 1 << (bits - 1)
    return top - value if value & top else value


def _degrees(section: bytes, at: int, unit: float = 1e-6) -> float:
    """Return an angle; ``at`` is the octet's number in the standard."""
    (value,) = struct.unpack_from(">I", section, at - 1)
    return _signed(value) * unit


def _latitude(section: bytes, at: int, unit: float = 1e-6) -> float:
    lat = _degrees(section, at, unit)
    if abs(lat) > 90.0:
        raise UnknownGrid(f"a latitude of {lat:g} in the grid's definition; damaged")
    return lat


def _octet(section: bytes, at: int) -> int:
    return section[at - 1]


def _size(section: bytes) -> tuple[int, int]:
    columns, rows = struct.unpack_from(">II", section, 30)
    return rows, columns


def _angle_unit(section: bytes) -> float:
    basic, parts = struct.unpack_from(">II", section, 38)
    return 1e-6 if basic in (0, MISSING) or parts in (0, MISSING) else basic / parts


def _degree_span(first: float, last: float, backward: bool) -> float:
    """Return the signed degrees of longitude from the first column to the last."""
    span = (first - last if backward else last - first) % 360.0
    if span == 0.0:
        span = 360.0
    return -span if backward else span


def _latlon_frame(
    section: bytes, unit: float
) -> tuple[tuple[int, int], int, tuple[float, float], tuple[float, float]]:
    """Return size, scanning, first point (lon, lat) and steps of templates 3.0, 3.1 and 3.40."""
    rows, columns = _size(section)
    scanning = _octet(section, 72)
    lat, lon = _latitude(section, 47, unit), _degrees(section, 51, unit)
    last_lat, last_lon = _latitude(section, 56, unit), _degrees(section, 60, unit)
    across = _degree_span(lon, last_lon, bool(scanning & BACKWARD))
    along = last_lat - lat
    if along and (along > 0) != bool(scanning & UPWARD):
        raise UnknownGrid("the rows' latitudes contradict the scanning direction; damaged")
    step = (across / max(columns - 1, 1), along / max(rows - 1, 1))
    return (rows, columns), scanning, (lon, lat), step


def _latlon(section: bytes) -> Grid:
    size, scanning, first, step = _latlon_frame(section, _angle_unit(section))
    plane: Plane = LatLon()
    if struct.unpack_from(">H", section, 12)[0] == 1:
        angle = struct.unpack_from(">f", section, 80)[0]
        plane = RotatedLatLon(_latitude(section, 73), _degrees(section, 77), angle)
    return Grid(
        kind="lat-lon" if isinstance(plane, LatLon) else "rotated lat-lon",
        rows=size[0],
        columns=size[1],
        scanning=scanning,
        plane=plane,
        earth=_earth(section),
        origin=first,
        step=(step[0], step[1] or 1.0),
        period=360.0,
        winds_along_grid=bool(_octet(section, 55) & ALONG_GRID),
    )


def _gaussian(section: bytes) -> Grid:
    (rows, columns), scanning, (lon, lat), step = _latlon_frame(section, _angle_unit(section))
    (parallels,) = struct.unpack_from(">I", section, 67)
    if not 1 <= parallels <= 10_000:
        raise UnknownGrid(f"Gaussian grid of {parallels} parallels; damaged")
    latitudes = gaussian_latitudes(parallels)
    if scanning & UPWARD:
        latitudes = latitudes[::-1]
    first = int(np.abs(latitudes - lat).argmin())
    if first + rows > latitudes.size or abs(latitudes[first] - lat) > 0.5 * 90.0 / parallels:
        raise UnknownGrid("the rows are not Gaussian latitudes; damaged")
    return Grid(
        kind="Gaussian",
        rows=rows,
        columns=columns,
        scanning=scanning,
        plane=Gaussian(tuple(latitudes[first : first + rows])),
        earth=_earth(section),
        origin=(lon, 0.0),
        step=(step[0], 1.0),
        period=360.0,
        winds_along_grid=bool(_octet(section, 55) & ALONG_GRID),
    )


def _on_map(
    section: bytes,
    kind: str,
    plane: Plane,
    step: tuple[float, float],
    scanning: int,
    period: float = 0.0,
) -> Grid:
    rows, columns = _size(section)
    lat, lon = _latitude(section, 39), _degrees(section, 43)
    x, y = plane.forward(np.asarray(lat), np.asarray(lon))
    return Grid(
        kind=kind,
        rows=rows,
        columns=columns,
        scanning=scanning,
        plane=plane,
        earth=_earth(section),
        origin=(float(x), float(y)),
        step=(
            -step[0] if scanning & BACKWARD else step[0],
            step[1] if scanning & UPWARD else -step[1],
        ),
        period=period,
        winds_along_grid=bool(_octet(section, 47) & ALONG_GRID),
    )


def _mercator(section: bytes) -> Grid:
    if _degrees(section, 61):
        raise UnknownGrid("Mercator grids that are turned on the map are not read")
    plane = Mercator(_earth(section), _latitude(section, 48))
    (east,), (zero,) = (plane.forward(np.zeros(1), np.full(1, lon))[0] for lon in (360.0, 0.0))
    step = (_degrees(section, 65, 1e-3), _degrees(section, 69, 1e-3))
    period = float(east - zero)
    return _on_map(section, "Mercator", plane, step, _octet(section, 60), period)


def _polar(section: bytes) -> Grid:
    south = bool(_octet(section, 64) & 0x80)
    plane = PolarStereographic(
        _earth(section), _degrees(section, 52), _latitude(section, 48), south=south
    )
    step = (_degrees(section, 56, 1e-3), _degrees(section, 60, 1e-3))
    return _on_map(section, "polar stereographic", plane, step, _octet(section, 65))


def _lambert(section: bytes) -> Grid:
    plane = Lambert(
        _earth(section), _degrees(section, 52), _latitude(section, 66), _latitude(section, 70)
    )
    if abs(plane.first_lat + plane.second_lat) < 1e-6 or plane.first_lat * plane.second_lat < 0:
        raise UnknownGrid("Lambert conformal grid whose parallels lie on both sides; damaged")
    step = (_degrees(section, 56, 1e-3), _degrees(section, 60, 1e-3))
    return _on_map(section, "Lambert", plane, step, _octet(section, 65))


READERS: Final[dict[int, Callable[[bytes], Grid]]] = {
    0: _latlon,
    1: _latlon,
    10: _mercator,
    20: _polar,
    30: _lambert,
    40: _gaussian,
}
