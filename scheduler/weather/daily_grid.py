"""Gridded daily NetCDF: one cell's record of days, by CF standard names and stated units.

Places may be a list of locations, rows and columns of latitude and longitude, or a map with
latitude and longitude for each cell. What is taken is the nearest cell; what its name, unit or
statistic leaves open is not guessed but left out, and told.

References
----------
CF conventions 1.11: 3 (names and units), 4.4 (time), 7.3 (cell methods), 8.1 (packed data).
"""

from __future__ import annotations

import hashlib
import importlib.util
import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from rules.errors import BadInput, CloseinError, Faults, WeatherFileFault
from rules.verdict import FloatArray
from scheduler.planning.hours import Finding
from scheduler.weather.grids.grid import distance_km
from scheduler.weather.records import HIGH, LOW, DailyRecord, Station, plausible
from scheduler.weather.station_table import placed

NOT_INSTALLED: Final = "NetCDF files need the grids extra: pip install 'closein[grids]'"
MARK: Final = b"\x89HDF\r\n\x1a\n"
CLASSIC: Final = b"CDF"
LONGEST_D: Final = 366 * 300
ROUNDED_MM: Final = 0.05  # negative amounts of reanalyses by their packing; common practice
EARTH_M: Final = 6371008.8  # mean radius, IUGG
SECONDS: Final = {"s": 1, "second": 1, "min": 60, "minute": 60, "h": 3600, "hr": 3600,
                  "hour": 3600, "d": 86400, "day": 86400}  # fmt: skip
SINCE: Final = re.compile(r"(\w+) since (-?\d{1,4})-(\d{1,2})-(\d{1,2})(.*)", re.IGNORECASE)
WESTERN: Final = ("standard", "gregorian", "proleptic_gregorian", "")
NO_LEAP: Final = ("noleap", "365_day")
# unit: (factor, offset) to house unit, by kind
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


@dataclass(frozen=True, slots=True)
class Wanted:
    """How a daily column is known: CF name and statistic, or the usual short names."""

    column: str
    kind: str
    standard: tuple[str, ...]
    statistic: str  # of cell_methods; "" for any
    names: tuple[str, ...]


WANTED: Final = (
    Wanted(HIGH, "temperature", ("air_temperature",), "maximum",
           ("tasmax", "tmax", "tx", "tmmx", "mx2t", "t2m_max", "maximum_2m_temperature")),
    Wanted(LOW, "temperature", ("air_temperature",), "minimum",
           ("tasmin", "tmin", "tn", "tmmn", "mn2t", "t2m_min", "minimum_2m_temperature")),
    Wanted("precipitation_amount_mm", "water",
           ("precipitation_flux", "precipitation_amount", "lwe_thickness_of_precipitation_amount",
            "thickness_of_rainfall_amount"), "",
           ("pr", "prcp", "precip", "precipitation", "rr", "tp", "ppt", "total_precipitation")),
    Wanted("snow_depth_mm", "depth", ("surface_snow_thickness",), "mean", ("snd",)),
    Wanted("wind_speed_ms", "speed", ("wind_speed",), "mean", ("sfcwind", "vs", "fg", "wind")),
    Wanted("wind_speed_of_gust_ms", "speed", ("wind_speed_of_gust",), "maximum",
           ("wsgsmax", "fx", "fxx", "i10fg")),
)  # fmt: skip
HEIGHTS: Final = ("surface_altitude", "height")


def is_netcdf(raw: bytes) -> bool:
    """Tell NetCDF of either kind by its first bytes."""
    return raw.startswith((MARK, CLASSIC))


def read_daily_grid(raw: bytes, file: str, at: tuple[float, float] | None = None) -> DailyRecord:
    """Read the record of the cell or location nearest to a place.

    Parameters
    ----------
    raw
        The file's content, NetCDF-4.
    file
        Its name, for messages.
    at
        Latitude and longitude of the site; without it the file's first location.

    Raises
    ------
    Faults
        If the file cannot be read, holds no daily columns, or does not cover the place.
    BadInput
        If the grids extra is not installed.
    """
    if raw.startswith(CLASSIC):
        want = "want NetCDF-4; classic NetCDF is not read"
        raise Faults([WeatherFileFault(file, "the file", "classic NetCDF", want)])
    if importlib.util.find_spec("h5netcdf") is None:
        raise BadInput(NOT_INSTALLED)
    import h5netcdf

    identity = hashlib.sha256(raw).hexdigest()
    try:
        with h5netcdf.File(io.BytesIO(raw), "r", decode_vlen_strings=True) as data:
            return _Days(data, file, identity).read(at)
    except CloseinError:
        raise
    except Exception as error:  # whatever the library raises on a damaged file
        told = f"{type(error).__name__}: {error}".split("\n", 1)[0][:80]
        want = "want a whole NetCDF-4 file"
        raise Faults([WeatherFileFault(file, "the file", told, want)]) from error


class _Days:
    """One open file."""

    def __init__(self, data: Any, file: str, identity: str) -> None:
        self._data, self._file, self._identity = data, file, identity
        self._findings: list[Finding] = []

    def read(self, at: tuple[float, float] | None) -> DailyRecord:
        lat, lon, time = self._axis("latitude"), self._axis("longitude"), self._time()
        index, station = self._nearest(lat, lon, at)
        day = self._days(time)
        first, count = day.min(), int((day.max() - day.min()).astype(np.int64)) + 1
        if count > LONGEST_D:
            raise self._fault("time", f"{count} days", "want at most 300 years")
        found = dict(self._columns(time.dimensions[0], index))
        if not found:
            names = ", ".join(str(name) for name in self._data.variables)[:60]
            raise self._fault("variables", names, "want daily highs, lows, rain, wind or snow")
        table = {}
        for name, values in found.items():
            table[name], twice = placed((day - first).astype(np.int64), values, count)
            if twice:
                what = f"{twice} days have two values; neither is used"
                self._findings.append(Finding(name, what, 24 * twice))
        if not any(np.isfinite(values).any() for values in table.values()):
            raise self._fault("place", station.name, "no values there: not covered")
        what = "days are taken as local days; the file does not say which they are"
        findings = (*self._findings, Finding("", what))
        return plausible(DailyRecord(station, first + np.arange(count), table, findings))

    def _fault(self, field: str, value: object, want: str) -> Faults:
        return Faults([WeatherFileFault(self._file, field, value, want)])

    def _axis(self, kind: str) -> Any:
        """Return the variable of latitudes or longitudes, by name or unit."""
        units = {"latitude": "north", "longitude": "east"}[kind]
        for name, one in self._data.variables.items():
            unit = _text(one, "units").replace("degrees", "degree")
            if _text(one, "standard_name") == kind or unit in (
                f"degree_{units}",
                f"degree{units}",
            ):
                return one
            if str(name).lower() in (kind, kind[:3]):
                return one
        raise self._fault(kind, "absent", f"want a variable of {kind}s")

    def _time(self) -> Any:
        for one in self._data.variables.values():
            if SINCE.match(_text(one, "units")) and len(one.dimensions) == 1:
                return one
        raise self._fault("time", "absent", "want a variable of times, 'days since ...'")

    def _days(self, time: Any) -> NDArray[np.datetime64]:
        """Return each step's day; steps that are not days are refused."""
        match, calendar = SINCE.match(_text(time, "units")), _text(time, "calendar").lower()
        unit = match[1].lower() if match else ""
        seconds = SECONDS.get(unit) or SECONDS.get(unit.removesuffix("s"))
        if match is None or seconds is None:
            raise self._fault("units of time", _text(time, "units"), "want days or hours since")
        since = np.datetime64(f"{int(match[2]):04d}-{int(match[3]):02d}-{int(match[4]):02d}", "s")
        steps = np.asarray(time[...], dtype=np.float64).ravel() * seconds + _clock_s(match[5])
        if not steps.size or not np.isfinite(steps).all() or np.abs(steps).max() > 3e11:
            raise self._fault("time", "empty or not numbers", "want one number for each day")
        if steps.size > 1 and np.median(np.diff(np.sort(steps))) < 86400.0:
            step = np.median(np.diff(np.sort(steps))) / 3600.0
            raise self._fault("time", f"a step of {step:g} h", "want daily values")
        if steps.size > 1 and np.median(np.diff(np.sort(steps))) > 1.5 * 86400.0:
            step = np.median(np.diff(np.sort(steps))) / 86400.0
            raise self._fault("time", f"a step of {step:g} days", "want daily values")
        if calendar in NO_LEAP:
            return _without_leap_days(since, np.floor(steps / 86400.0).astype(np.int64))
        if calendar not in WESTERN:
            raise self._fault("calendar", calendar, "want the usual calendar")
        moments = since + np.round(steps).astype("timedelta64[s]")
        return moments.astype("datetime64[D]")

    def _nearest(
        self, lat: Any, lon: Any, at: tuple[float, float] | None
    ) -> tuple[dict[str, int], Station]:
        """Return the index by dimension of the nearest place, and what is known of it."""
        lats, lons = np.asarray(lat[...], np.float64), np.asarray(lon[...], np.float64)
        dimensions = tuple(lat.dimensions)
        if lat.dimensions != lon.dimensions:  # rows and columns
            if lats.ndim != 1 or lons.ndim != 1:
                raise self._fault("latitude", lat.dimensions, "want one or two dimensions")
            dimensions = (*lat.dimensions, *lon.dimensions)
            lats, lons = np.meshgrid(lats, lons, indexing="ij")
        known = np.isfinite(lats) & np.isfinite(lons) & (np.abs(lats) <= 90.0)
        if not known.any():
            raise self._fault("latitude", "no numbers", "want degrees")
        first = np.unravel_index(int(np.argmax(known)), known.shape)
        here = at or (float(lats[first]), float(lons[first]))
        away = distance_km(lats, lons, np.float64(here[0]), np.float64(here[1]), EARTH_M)  # type: ignore[arg-type]
        spot = np.unravel_index(int(np.where(known, away, np.inf).argmin()), known.shape)
        index = {name: int(n) for name, n in zip(dimensions, spot, strict=True)}
        if len(dimensions) == 2:
            self._inside(float(away[spot]), lats, lons, spot)
        name = self._label(index) or f"cell {lats[spot]:.3f}, {_west(lons[spot]):.3f}"
        height = self._height(index)
        place = float(lats[spot]), _west(lons[spot])
        if at is None and known.size > 1:
            what = f"{known.size} places; no site was named, the first is taken"
            self._findings.append(Finding("", what))
        return index, Station(name, *place, height, self._identity)

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
            raise self._fault("place", told, "the grid does not cover the site")

    def _label(self, index: Mapping[str, int]) -> str:
        """Return the name of a location where the file has one."""
        for one in self._data.variables.values():
            if len(one.dimensions) == 1 and one.dimensions[0] in index and one.dtype.kind in "OSU":
                label = one[index[one.dimensions[0]]]
                return label.decode("utf-8", "replace") if isinstance(label, bytes) else str(label)
        return ""

    def _height(self, index: Mapping[str, int]) -> float | None:
        for one in self._data.variables.values():
            of_place = set(one.dimensions) <= set(index) and one.dimensions
            if of_place and _text(one, "standard_name") in HEIGHTS and _text(one, "units") == "m":
                value = float(self._series(one, index)[0])
                return value if np.isfinite(value) else None
        return None

    def _columns(self, time: str, index: Mapping[str, int]) -> Iterator[tuple[str, FloatArray]]:
        """Yield each daily column that the file has; the first variable of a kind serves."""
        taken: set[str] = set()
        for name, one in self._data.variables.items():
            wanted = _wanted(str(name), one)
            if wanted is None or wanted.column in taken or time not in one.dimensions:
                continue
            if set(one.dimensions) - {time, *index}:
                self._findings.append(Finding(wanted.column, f"{name} has levels; not used"))
                continue
            if wanted.column.endswith("gust_ms") and _of_mean_wind(one):
                what = f"{name} is called gust but made of the mean wind's parts; not used"
                self._findings.append(Finding(wanted.column, what))
                continue
            unit = _text(one, "units").lower().strip()
            if unit not in UNITS[wanted.kind]:
                what = f"{name} has the unit {unit!r}; not used"
                self._findings.append(Finding(wanted.column, what))
                continue
            factor, offset = UNITS[wanted.kind][unit]
            taken.add(wanted.column)
            values = self._series(one, index) * factor + offset
            yield wanted.column, self._no_rounding(wanted, values)

    def _no_rounding(self, wanted: Wanted, values: FloatArray) -> FloatArray:
        """Return amounts with what packing has rounded to a little below zero as none."""
        if wanted.kind not in ("water", "depth"):
            return values
        low = (values < 0.0) & (values > -ROUNDED_MM)
        if low.any():
            what = f"values down to {values[low].min():.2g} mm are rounding and taken as none"
            self._findings.append(Finding(wanted.column, what, 24 * int(low.sum())))
        kept: FloatArray = np.where(low, 0.0, values)
        return kept

    def _series(self, one: Any, index: Mapping[str, int]) -> FloatArray:
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


def _wanted(name: str, one: Any) -> Wanted | None:
    """Return what a variable serves: by standard name and statistic, else by its usual name."""
    standard, methods = _text(one, "standard_name"), _text(one, "cell_methods")
    for wanted in WANTED:
        if standard:
            if standard in wanted.standard and f"time: {wanted.statistic}" in methods:
                return wanted
        elif name.lower() in wanted.names:
            return wanted
    return None


def _of_mean_wind(one: Any) -> bool:
    told = " ".join(_text(one, key) for key in ("description", "history", "comment")).lower()
    return "vector" in told


def _text(one: Any, key: str) -> str:
    """Return an attribute as text, "" where there is none."""
    value = one.attrs.get(key, "")
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)


def _west(lon: float) -> float:
    return float((lon + 180.0) % 360.0 - 180.0)


def _clock_s(text: str) -> float:
    """Return the seconds after midnight that a reference time states."""
    found = re.match(r"[T ]\s*(\d{1,2}):(\d{2})(?::(\d{2}))?", text)
    if found is None:
        return 0.0
    return 3600.0 * int(found[1]) + 60.0 * int(found[2]) + float(found[3] or 0)


def _without_leap_days(since: np.datetime64, days: NDArray[np.int64]) -> NDArray[np.datetime64]:
    """Return dates of a calendar without 29 February, which stay gaps of the record."""
    first = since.astype("datetime64[D]")
    year, month, day = (int(part) for part in str(first).split("-"))
    lengths = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    starts = np.concatenate(([0], np.cumsum(lengths)))
    number = days + int(starts[month - 1]) + day - 1
    years, within = year + number // 365, number % 365
    months = np.searchsorted(starts, within, side="right")
    dates = [
        f"{y:04d}-{m:02d}-{d + 1:02d}"
        for y, m, d in zip(years, months, within - starts[months - 1], strict=True)
    ]
    return np.array(dates, dtype="datetime64[D]")
