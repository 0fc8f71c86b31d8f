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
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from rules.verdict import FloatArray
from scheduler.planning.tables.hours import Finding
from scheduler.weather.netcdf_place import UNITS, NetcdfPlace, opened, text_of
from scheduler.weather.records import HIGH, LOW, DailyRecord, plausible
from scheduler.weather.station_table import placed

LONGEST_D: Final = 366 * 300
ROUNDED_MM: Final = 0.05  # negative amounts of reanalyses by their packing; common practice
WESTERN: Final = ("standard", "gregorian", "proleptic_gregorian", "")
NO_LEAP: Final = ("noleap", "365_day")


# unit: (factor, offset) to house unit, by kind
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
    with opened(raw, file) as data:
        return _Days(data, file, hashlib.sha256(raw).hexdigest()).read(at)


class _Days(NetcdfPlace):
    """One open file of daily values."""

    def read(self, at: tuple[float, float] | None) -> DailyRecord:
        lat, lon, time = self.axis("latitude"), self.axis("longitude"), self.time_axis()
        index, station = self.nearest(lat, lon, at)
        day = self._days(time)
        first, count = day.min(), int((day.max() - day.min()).astype(np.int64)) + 1
        if count > LONGEST_D:
            raise self.fault("time", f"{count} days", "want at most 300 years")
        found = dict(self._columns(time.dimensions[0], index))
        if not found:
            names = ", ".join(str(name) for name in self.data.variables)[:60]
            raise self.fault("variables", names, "want daily highs, lows, rain, wind or snow")
        table = {}
        for name, values in found.items():
            table[name], twice = placed((day - first).astype(np.int64), values, count)
            if twice:
                what = f"{twice} days have two values; neither is used"
                self.findings.append(Finding(name, what, 24 * twice))
        if not any(np.isfinite(values).any() for values in table.values()):
            raise self.fault("place", station.name, "no values there: not covered")
        what = "days are taken as local days; the file does not say which they are"
        findings = (*self.findings, Finding("", what))
        return plausible(DailyRecord(station, first + np.arange(count), table, findings))

    def _days(self, time: Any) -> NDArray[np.datetime64]:
        """Return each step's day; steps that are not days are refused."""
        since, steps, calendar = self.steps(time)
        if steps.size > 1 and np.median(np.diff(np.sort(steps))) < 86400.0:
            step = np.median(np.diff(np.sort(steps))) / 3600.0
            raise self.fault("time", f"a step of {step:g} h", "want daily values")
        if steps.size > 1 and np.median(np.diff(np.sort(steps))) > 1.5 * 86400.0:
            step = np.median(np.diff(np.sort(steps))) / 86400.0
            raise self.fault("time", f"a step of {step:g} days", "want daily values")
        if calendar in NO_LEAP:
            return _without_leap_days(since, np.floor(steps / 86400.0).astype(np.int64))
        if calendar not in WESTERN:
            raise self.fault("calendar", calendar, "want the usual calendar")
        moments = since + np.round(steps).astype("timedelta64[s]")
        return moments.astype("datetime64[D]")

    def _columns(self, time: str, index: Mapping[str, int]) -> Iterator[tuple[str, FloatArray]]:
        """Yield each daily column that the file has; the first variable of a kind serves."""
        taken: set[str] = set()
        for name, one in self.data.variables.items():
            wanted = _wanted(str(name), one)
            if wanted is None or wanted.column in taken or time not in one.dimensions:
                continue
            if set(one.dimensions) - {time, *index}:
                self.findings.append(Finding(wanted.column, f"{name} has levels; not used"))
                continue
            if wanted.column.endswith("gust_ms") and _of_mean_wind(one):
                what = f"{name} is called gust but made of the mean wind's parts; not used"
                self.findings.append(Finding(wanted.column, what))
                continue
            unit = text_of(one, "units").lower().strip()
            if unit not in UNITS[wanted.kind]:
                what = f"{name} has the unit {unit!r}; not used"
                self.findings.append(Finding(wanted.column, what))
                continue
            factor, offset = UNITS[wanted.kind][unit]
            taken.add(wanted.column)
            values = self.series(one, index) * factor + offset
            yield wanted.column, self._no_rounding(wanted, values)

    def _no_rounding(self, wanted: Wanted, values: FloatArray) -> FloatArray:
        """Return amounts with what packing has rounded to a little below zero as none."""
        if wanted.kind not in ("water", "depth"):
            return values
        low = (values < 0.0) & (values > -ROUNDED_MM)
        if low.any():
            what = f"values down to {values[low].min():.2g} mm are rounding and taken as none"
            self.findings.append(Finding(wanted.column, what, 24 * int(low.sum())))
        kept: FloatArray = np.where(low, 0.0, values)
        return kept


def _wanted(name: str, one: Any) -> Wanted | None:
    """Return what a variable serves: by standard name and statistic, else by its usual name."""
    standard, methods = text_of(one, "standard_name"), text_of(one, "cell_methods")
    for wanted in WANTED:
        if standard:
            if standard in wanted.standard and f"time: {wanted.statistic}" in methods:
                return wanted
        elif name.lower() in wanted.names:
            return wanted
    return None


def _of_mean_wind(one: Any) -> bool:
    told = " ".join(text_of(one, key) for key in ("description", "history", "comment")).lower()
    return "vector" in told


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
