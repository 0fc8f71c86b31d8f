"""NetCDF with CF names as a forecast: the nearest cell's hours, by stated names and units.

Steps of one hour, or of three or six: between two of them a state runs straight and an amount is
shared out. What a name, unit or statistic leaves open is not guessed but left out, and told. The
time of issue is ``forecast_reference_time``; a file without one is of no known age, which is never
fit to go on.

References
----------
CF conventions 1.11: 3 (names and units), 4.4 (time), 7.3 (cell methods), 8.1 (packed data).
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

import numpy as np

from rules.verdict import FloatArray
from scheduler.planning.model.job import Site
from scheduler.planning.tables.hours import Finding, Forecast, HourlyTable, Provenance
from scheduler.weather.netcdf_place import NetcdfPlace, opened, text_of
from scheduler.weather.screen import screened

SOURCE: Final = "netcdf"
STEPS_H: Final = (1, 3, 6)
ROUNDED_MM: Final = 0.05  # negative amounts by packing; common practice, no source
LONGEST_H: Final = 24 * 46  # the longest public forecasts end there
PER_CENT: Final = {"%": 1.0, "percent": 1.0, "1": 100.0, "": 100.0}
KELVIN: Final = {
    "k": -273.15,
    "kelvin": -273.15,
    "degc": 0.0,
    "celsius": 0.0,
    "degree_celsius": 0.0,
}
SPEED: Final = {
    "m s-1": 1.0,
    "m/s": 1.0,
    "m s**-1": 1.0,
    "km h-1": 1.0 / 3.6,
    "kt": 1852.0 / 3600.0,
}
RATE: Final = {"kg m-2 s-1": 3600.0, "mm s-1": 3600.0, "mm h-1": 1.0, "kg m-2 h-1": 1.0}
SUM: Final = {"mm": 1.0, "kg m-2": 1.0, "m": 1000.0}


@dataclass(frozen=True, slots=True)
class Served:
    """How a house column is known: its CF name, and its units with factor or offset."""

    column: str
    standard: str
    units: dict[str, float]
    added: bool = False  # the figures of ``units`` are added, not multiplied
    amount: bool = False  # over each step, shared out over its hours


SERVED: Final = (
    Served("air_temperature_c", "air_temperature", KELVIN, added=True),
    Served("dew_point_temperature_c", "dew_point_temperature", KELVIN, added=True),
    Served("relative_humidity_pct", "relative_humidity", PER_CENT),
    Served("wind_speed_ms", "wind_speed", SPEED),
    Served("wind_speed_of_gust_ms", "wind_speed_of_gust", SPEED),
    Served("cloud_area_fraction_pct", "cloud_area_fraction", PER_CENT),
    Served("precipitation_amount_mm", "precipitation_flux", RATE, amount=True),
    Served("precipitation_amount_mm", "precipitation_amount", SUM, amount=True),
)


def read_hourly_grid(raw: bytes, file: str, site: Site) -> Forecast:
    """Return the hours of the cell nearest to a site.

    Parameters
    ----------
    raw : bytes
        The file's content, NetCDF-4.
    file : str
        Its name, for messages.
    site : Site

    Raises
    ------
    Faults
        If the file cannot be read, holds no column of use, or does not cover the site.
    BadInput
        If the grids extra is not installed.
    """
    with opened(raw, file) as data:
        return _Hours(data, file, hashlib.sha256(raw).hexdigest()).forecast(site)


class _Hours(NetcdfPlace):
    """One open file of hourly, three-hourly or six-hourly values."""

    def forecast(self, site: Site) -> Forecast:
        """Return the forecast of the nearest cell."""
        time = self.time_axis()
        at = (site.latitude_deg, site.longitude_deg)
        index, station = self.nearest(self.axis("latitude"), self.axis("longitude"), at)
        start, step = self._hours(time)
        columns: dict[str, FloatArray] = {}
        for name, one in self.data.variables.items():
            found = self._column(str(name), one, time.dimensions[0], index, step)
            if found is not None and found[0] not in columns:
                columns[found[0]] = found[1]
        if not columns:
            names = ", ".join(str(name) for name in self.data.variables)[:60]
            raise self.fault("variables", names, "want CF names such as air_temperature")
        if not any(np.isfinite(values).any() for values in columns.values()):
            raise self.fault("place", station.name, "no values there: not covered")
        hours = start + np.arange(next(iter(columns.values())).size) * np.timedelta64(1, "h")
        clean, findings = screened(hours, columns)
        where = Provenance(
            source=SOURCE,
            issued_at=self._issued(),
            fetched_at=None,
            place=station.name,
            latitude_deg=station.latitude_deg,
            longitude_deg=station.longitude_deg,
            elevation_m=station.elevation_m,
            identity=self.identity,
            findings=(*self.findings, *findings),
        )
        return Forecast(HourlyTable(hours, clean), where)

    def _hours(self, time: Any) -> tuple[np.datetime64, int]:
        """Return the first hour and the hours of a step; uneven steps are refused."""
        since, steps, _ = self.steps(time)
        apart = np.diff(steps) / 3600.0
        step = round(float(apart[0])) if apart.size else 1
        even = apart.size == 0 or bool(np.allclose(apart, step, atol=1e-3))
        if step not in STEPS_H or not even:
            told = f"steps of {apart.min():g} to {apart.max():g} h"
            want = f"want even steps of {', '.join(map(str, STEPS_H))} h; days are past years"
            raise self.fault("time", told, f"{want}: --climate")
        if steps.size * step > LONGEST_H:
            raise self.fault("time", f"{steps.size * step} h", f"want at most {LONGEST_H} h")
        first = since + np.timedelta64(round(float(steps[0])), "s")
        if first != first.astype("datetime64[h]"):
            raise self.fault("time", str(first), "want whole hours, UTC")
        return first.astype("datetime64[h]"), step

    def _column(
        self, name: str, one: Any, time: str, index: dict[str, int], step: int
    ) -> tuple[str, FloatArray] | None:
        """Return the house column that a variable serves, by the hour; None where none."""
        standard = text_of(one, "standard_name")
        served = next((row for row in SERVED if row.standard == standard), None)
        if served is None or time not in one.dimensions:
            return None
        if set(one.dimensions) - {time, *index}:
            self.findings.append(Finding(served.column, f"{name} has levels; not used"))
            return None
        unit = text_of(one, "units").lower().strip()
        if unit not in served.units:
            self.findings.append(Finding(served.column, f"{name} has the unit {unit!r}; not used"))
            return None
        told = self.series(one, index)
        figure = served.units[unit]
        values = told + figure if served.added else told * figure
        if not served.amount:
            return served.column, _straight(values, step)
        values = np.where((values < 0.0) & (values > -ROUNDED_MM), 0.0, values)
        if self._ends(time):
            values = np.append(values[1:], np.nan)
        flux = served.standard.endswith("flux")
        return served.column, np.repeat(values if flux else values / step, step)

    def _ends(self, time: str) -> bool:
        """Tell whether times stand at the end of what they sum up, by their bounds.

        Without bounds a time is taken as the beginning of its hours, which is told.
        """
        one = self.time_axis()
        bounds = text_of(one, "bounds")
        if bounds in self.data.variables:
            edges = np.asarray(self.data.variables[bounds][...], dtype=np.float64)
            times = np.asarray(one[...], dtype=np.float64).ravel()
            return bool(edges.shape == (times.size, 2) and np.allclose(edges[:, 1], times))
        what = f"{time} has no bounds: amounts are taken to follow their time"
        self.findings.append(Finding("precipitation_amount_mm", what))
        return False

    def _issued(self) -> datetime | None:
        """Return the time of issue; None where the file does not say."""
        for one in self.data.variables.values():
            if text_of(one, "standard_name") == "forecast_reference_time":
                since, steps, _ = self.steps(one)
                seconds = (since - np.datetime64(0, "s")).astype(np.int64) + round(float(steps[0]))
                return datetime.fromtimestamp(int(seconds), UTC)
        return None


def _straight(values: FloatArray, step: int) -> FloatArray:
    """Return hours from steps, straight between two known ones; gaps stay gaps."""
    if step == 1:
        return values
    at = np.arange((values.size - 1) * step + 1)
    low = np.minimum(at // step, values.size - 1)
    high = np.minimum(low + 1, values.size - 1)
    share = (at % step) / step
    between = values[low] + np.where(share > 0.0, share * (values[high] - values[low]), 0.0)
    hours = np.full(values.size * step, np.nan)
    hours[: at.size] = between
    return hours
