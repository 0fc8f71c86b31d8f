"""NetCDF with CF names, looked at in one place: axes, steps, the nearest cell, unpacked series."""

from __future__ import annotations

import importlib.util
import io
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from rules.errors import BadInput, CloseinError, Faults, WeatherFileFault
from rules.verdict import FloatArray
from scheduler.planning.tables.hours import Finding
from scheduler.weather.grids.grid import distance_km
from scheduler.weather.records import Station

NOT_INSTALLED: Final = "NetCDF files need the grids extra: pip install 'closein[grids]'"
MARK: Final = b"\x89HDF\r\n\x1a\n"
CLASSIC: Final = b"CDF"
EARTH_M: Final = 6371008.8  # mean radius, IUGG
SECONDS: Final = {"s": 1, "second": 1, "min": 60, "minute": 60, "h": 3600, "hr": 3600,
                  "hour": 3600, "d": 86400, "day": 86400}  # fmt: skip
SINCE: Final = re.compile(r"(\w+) since (-?\d{1,4})-(\d{1,2})-(\d{1,2})(.*)", re.IGNORECASE)
HEIGHTS: Final = ("surface_altitude", "height")
UNITS: Final[Mapping[str, Mapping[str, tuple[float, float]]]] = {
    "temperature": {
        **dict.fromkeys(("k", "kelvin", "degk"), (1.0, -273.15)),
        **dict.fromkeys(("degc", "c", "celsius", "degrees_celsius", "deg_c", "degree_celsius",
                         "degreesc", "degrees c", "°c"), (1.0, 0.0)),
        **dict.fromkeys(("degf", "f", "fahrenheit"), (5.0 / 9.0, -160.0 / 9.0)),
    },
    "water": {
        **dict.fromkeys(("kg m-2 s-1", "kg/m2/s", "kg m**-2 s**-1", "mm s-1", "mm/s"),
                        (86400.0, 0.0)),
        **dict.fromkeys(("mm", "kg m-2", "kg m**-2", "mm/day", "mm day-1", "mm d-1", "mm/d",
                         "kg m-2 d-1", "kg m-2 day-1"), (1.0, 0.0)),
        **dict.fromkeys(("m", "m day-1", "m/day"), (1000.0, 0.0)),
        **dict.fromkeys(("in", "inch", "inches"), (25.4, 0.0)),
    },
    "depth": {"m": (1000.0, 0.0), "cm": (10.0, 0.0), "mm": (1.0, 0.0)},
    "speed": {
        **dict.fromkeys(("m s-1", "m/s", "m s**-1"), (1.0, 0.0)),
        **dict.fromkeys(("km h-1", "km/h"), (1.0 / 3.6, 0.0)),
        **dict.fromkeys(("kt", "knot", "knots"), (1852.0 / 3600.0, 0.0)),
    },
}  # fmt: skip


def is_netcdf(raw: bytes) -> bool:
    """Tell NetCDF of either kind by its first bytes."""
    return raw.startswith((MARK, CLASSIC))


@contextmanager
def opened(raw: bytes, file: str) -> Iterator[Any]:
    """Open NetCDF-4 bytes.

    Raises
    ------
    Faults
        If they cannot be read.
    BadInput
        If the grids extra is not installed.
    """
    if raw.startswith(CLASSIC):
        want = "want NetCDF-4; classic NetCDF is not read"
        raise Faults([WeatherFileFault(file, "the file", "classic NetCDF", want)])
    if importlib.util.find_spec("h5netcdf") is None:
        raise BadInput(NOT_INSTALLED)
    import h5netcdf

    try:
        with h5netcdf.File(io.BytesIO(raw), "r", decode_vlen_strings=True) as data:
            yield data
    except CloseinError:
        raise
    except Exception as error:  # whatever the library raises on a damaged file
        told = f"{type(error).__name__}: {error}".split("\n", 1)[0][:80]
        want = "want a whole NetCDF-4 file"
        raise Faults([WeatherFileFault(file, "the file", told, want)]) from error


class NetcdfPlace:
    """One open NetCDF file, looked at in one place."""

    def __init__(self, data: Any, file: str, identity: str) -> None:
        self.data, self.file, self.identity = data, file, identity
        self.findings: list[Finding] = []

    def fault(self, field: str, value: object, want: str) -> Faults:
        """Return a fault of the file."""
        return Faults([WeatherFileFault(self.file, field, value, want)])

    def axis(self, kind: str) -> Any:
        """Return the variable of latitudes or longitudes, by name or unit."""
        units = {"latitude": "north", "longitude": "east"}[kind]
        for name, one in self.data.variables.items():
            unit = text_of(one, "units").replace("degrees", "degree")
            if text_of(one, "standard_name") == kind or unit in (
                f"degree_{units}",
                f"degree{units}",
            ):
                return one
            if str(name).lower() in (kind, kind[:3]):
                return one
        raise self.fault(kind, "absent", f"want a variable of {kind}s")

    def time_axis(self) -> Any:
        """Return the variable of times."""
        for one in self.data.variables.values():
            if SINCE.match(text_of(one, "units")) and len(one.dimensions) == 1:
                return one
        raise self.fault("time", "absent", "want a variable of times, 'days since ...'")

    def steps(self, time: Any) -> tuple[np.datetime64, NDArray[np.float64], str]:
        """Return the day that steps count from, the steps in seconds, and the calendar."""
        match, calendar = SINCE.match(text_of(time, "units")), text_of(time, "calendar").lower()
        unit = match[1].lower() if match else ""
        seconds = SECONDS.get(unit) or SECONDS.get(unit.removesuffix("s"))
        if match is None or seconds is None:
            raise self.fault("units of time", text_of(time, "units"), "want days or hours since")
        since = np.datetime64(f"{int(match[2]):04d}-{int(match[3]):02d}-{int(match[4]):02d}", "s")
        steps = np.asarray(time[...], dtype=np.float64).ravel() * seconds + clock_s(match[5])
        if not steps.size or not np.isfinite(steps).all() or np.abs(steps).max() > 3e11:
            raise self.fault("time", "empty or not numbers", "want one number for each step")
        return since, steps, calendar

    def nearest(
        self, lat: Any, lon: Any, at: tuple[float, float] | None
    ) -> tuple[dict[str, int], Station]:
        """Return the index by dimension of the nearest place, and what is known of it."""
        lats, lons = np.asarray(lat[...], np.float64), np.asarray(lon[...], np.float64)
        dimensions = tuple(lat.dimensions)
        if lat.dimensions != lon.dimensions:  # rows and columns
            if lats.ndim != 1 or lons.ndim != 1:
                raise self.fault("latitude", lat.dimensions, "want one or two dimensions")
            dimensions = (*lat.dimensions, *lon.dimensions)
            lats, lons = np.meshgrid(lats, lons, indexing="ij")
        known = np.isfinite(lats) & np.isfinite(lons) & (np.abs(lats) <= 90.0)
        if not known.any():
            raise self.fault("latitude", "no numbers", "want degrees")
        first = np.unravel_index(int(np.argmax(known)), known.shape)
        here = at or (float(lats[first]), float(lons[first]))
        away = distance_km(lats, lons, np.float64(here[0]), np.float64(here[1]), EARTH_M)  # type: ignore[arg-type]
        spot = np.unravel_index(int(np.where(known, away, np.inf).argmin()), known.shape)
        index = {name: int(n) for name, n in zip(dimensions, spot, strict=True)}
        if len(dimensions) == 2:
            self._inside(float(away[spot]), lats, lons, spot)
        name = self._label(index) or f"cell {lats[spot]:.3f}, {west(lons[spot]):.3f}"
        height = self._height(index)
        place = float(lats[spot]), west(lons[spot])
        if at is None and known.size > 1:
            what = f"{known.size} places; no site was named, the first is taken"
            self.findings.append(Finding("", what))
        return index, Station(name, *place, height, self.identity)

    def _inside(
        self, away: float, lats: FloatArray, lons: FloatArray, spot: tuple[Any, ...]
    ) -> None:
        """Refuse a place that lies more than a cell beyond the grid."""
        row, column = int(spot[0]), int(spot[1])
        near = [(row - 1, column), (row + 1, column), (row, column - 1), (row, column + 1)]
        inside = [n for n in near if 0 <= n[0] < lats.shape[0] and 0 <= n[1] < lats.shape[1]]
        steps = [
            float(distance_km(lats[spot], lons[spot], lats[n], lons[n], EARTH_M)) for n in inside
        ]
        if steps and away > max(steps):
            told = f"{away:.0f} km from the nearest cell"
            raise self.fault("place", told, "the grid does not cover the site")

    def _label(self, index: Mapping[str, int]) -> str:
        """Return the name of a location where the file has one."""
        for one in self.data.variables.values():
            if len(one.dimensions) == 1 and one.dimensions[0] in index and one.dtype.kind in "OSU":
                label = one[index[one.dimensions[0]]]
                return label.decode("utf-8", "replace") if isinstance(label, bytes) else str(label)
        return ""

    def _height(self, index: Mapping[str, int]) -> float | None:
        for one in self.data.variables.values():
            of_place = set(one.dimensions) <= set(index) and one.dimensions
            if (
                of_place
                and text_of(one, "standard_name") in HEIGHTS
                and text_of(one, "units") == "m"
            ):
                value = float(self.series(one, index)[0])
                return value if np.isfinite(value) else None
        return None

    def series(self, one: Any, index: Mapping[str, int]) -> FloatArray:
        """Return a variable along time at the place, unpacked, gaps as NaN."""
        key = tuple(index.get(name, slice(None)) for name in one.dimensions)
        raw = np.atleast_1d(np.asarray(one[key], dtype=np.float64))
        gaps = np.zeros(raw.shape, dtype=np.bool_)
        for mark in ("_FillValue", "missing_value"):
            if mark in one.attrs:
                gaps |= np.isin(raw, np.asarray(one.attrs[mark], dtype=np.float64))
        scale = float(np.asarray(one.attrs.get("scale_factor", 1.0)).ravel()[0])
        offset = float(np.asarray(one.attrs.get("add_offset", 0.0)).ravel()[0])
        values: FloatArray = np.where(gaps, np.nan, raw * scale + offset)
        return values


def text_of(one: Any, key: str) -> str:
    """Return an attribute as text, "" where there is none."""
    value = one.attrs.get(key, "")
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)


def west(lon: float) -> float:
    """Return a longitude as -180 to 180."""
    return float((lon + 180.0) % 360.0 - 180.0)


def clock_s(text: str) -> float:
    """Return the seconds after midnight that a reference time states."""
    found = re.match(r"[T ]\s*(\d{1,2}):(\d{2})(?::(\d{2}))?", text)
    if found is None:
        return 0.0
    return 3600.0 * int(found[1]) + 60.0 * int(found[2]) + float(found[3] or 0)
