"""Records of past weather as readers give them: by days or by hours, at one station."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.columns import columns
from rules.diurnal import (
    SHAPE,
    SNOW_RATE_MM_H,
    air_temperature_by_hour,
    amount_in_block,
    sunrise_h,
    zone_h,
)
from rules.verdict import FloatArray
from scheduler.planning.tables.hours import Finding, HourlyTable
from scheduler.weather.screen import MOST_IN_A_DAY

HIGH: Final = "air_temperature_max_c"
LOW: Final = "air_temperature_min_c"
DAILY_COLUMNS: Final = {  # column of a daily record: the house column it must lie in the range of
    HIGH: "air_temperature_c",
    LOW: "air_temperature_c",
    "precipitation_amount_mm": "precipitation_amount_mm",
    "snowfall_amount_mm": "snowfall_amount_mm",
    "snow_depth_mm": "snow_depth_mm",
    "wind_speed_ms": "wind_speed_ms",
    "wind_speed_of_gust_ms": "wind_speed_of_gust_ms",
}


@dataclass(frozen=True, slots=True)
class Station:
    """Where a record was made, as far as the file says."""

    name: str
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    elevation_m: float | None = None
    identity: str = ""  # SHA-256 of the file as it came


@dataclass(frozen=True, slots=True)
class DailyRecord:
    """Daily values without holes; a gap is NaN."""

    station: Station
    day: NDArray[np.datetime64]  # (days,) datetime64[D], one day apart, local days
    columns: Mapping[str, FloatArray]  # names of DAILY_COLUMNS, each (days,)
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class HourlyRecord:
    """Hourly values of any length; ``typical`` for a made year that stands for all years."""

    station: Station
    table: HourlyTable
    shape: str = ""  # how days became hours; "" where the record is hourly itself
    typical: bool = False
    findings: tuple[Finding, ...] = ()


def plausible(record: DailyRecord) -> DailyRecord:
    """Return the record with impossible values as gaps, each kind told."""
    kept: dict[str, FloatArray] = {}
    findings: list[Finding] = []
    for name, values in record.columns.items():
        column = columns()[DAILY_COLUMNS[name]]
        high = MOST_IN_A_DAY.get(name, column.high)
        with np.errstate(invalid="ignore"):
            out = (values < column.low) | (values > high) | np.isinf(values)
        if out.any():
            at = int(np.argmax(out))
            what = f"{values[at]:g} on {record.day[at]} is outside {column.low:g} to {high:g}"
            findings.append(Finding(name, f"{what}; not used", 24 * int(out.sum())))
        kept[name] = np.where(out, np.nan, values)
    if HIGH in kept and LOW in kept:
        with np.errstate(invalid="ignore"):
            crossed = kept[LOW] > kept[HIGH]
        if crossed.any():
            day = record.day[int(np.argmax(crossed))]
            what = f"the low lies above the high on {day}; neither is used"
            findings.append(Finding(LOW, what, 24 * int(crossed.sum())))
            kept[LOW] = np.where(crossed, np.nan, kept[LOW])
            kept[HIGH] = np.where(crossed, np.nan, kept[HIGH])
        findings += _shifted(kept[LOW], kept[HIGH])
    return replace(record, columns=kept, findings=(*record.findings, *findings))


def _shifted(low: FloatArray, high: FloatArray) -> list[Finding]:
    """Tell where highs look written down a day late, as a morning reader of the gauge does.

    A day's high goes with the low before and after it. Where it goes with the low of the day
    *before* rather than with that of the day after, it belongs to the day before.
    """
    before, after = _together(high[1:], low[:-1]), _together(high[:-1], low[1:])
    if not before > after + 0.05:
        return []
    what = (
        f"highs go with the low of the day before (r = {before:.2f}) more than with that of the "
        f"day after ({after:.2f}); they may be written down a day late"
    )
    return [Finding(HIGH, what)]


def _together(a: FloatArray, b: FloatArray) -> float:
    """Return the correlation of day-to-day changes; NaN where there are too few."""
    both = np.diff(a), np.diff(b)
    known = np.isfinite(both[0]) & np.isfinite(both[1])
    if known.sum() < 60:
        return float("nan")
    return float(np.corrcoef(both[0][known], both[1][known])[0, 1])


def by_hour(record: DailyRecord, latitude_deg: float, longitude_deg: float) -> HourlyRecord:
    """Return the days as hours, by the shapes that :data:`rules.diurnal.SHAPE` states.

    Days are taken as days of local standard time in the nearest full-hour zone.
    """
    table: dict[str, FloatArray] = {}
    daily = record.columns
    if HIGH in daily and LOW in daily:
        table["air_temperature_c"] = air_temperature_by_hour(
            air_temperature_min_c=daily[LOW],
            air_temperature_max_c=daily[HIGH],
            sunrise_clock_h=sunrise_h(
                day=record.day, latitude_deg=latitude_deg, longitude_deg=longitude_deg
            ),
        )
    for name, rate in (("precipitation_amount_mm", 1.0), ("snowfall_amount_mm", SNOW_RATE_MM_H)):
        if name in daily:
            table[name] = amount_in_block(daily[name], rate_mm_h=rate)
    for name in ("snow_depth_mm", "wind_speed_ms", "wind_speed_of_gust_ms"):
        if name in daily:
            table[name] = np.repeat(daily[name], 24, axis=-1)
    zero = record.day[0].astype("datetime64[h]").astype(np.int64) - zone_h(longitude_deg)
    start = (zero + np.arange(24 * record.day.size)).astype("datetime64[h]")
    return HourlyRecord(
        station=record.station,
        table=HourlyTable(start=start, columns=table),
        shape=SHAPE,
        findings=record.findings,
    )
