"""Weather read on site, laid into the hours of a forecast before anything is judged.

A reading stands in place of the forecast in its own hour. Where it lies on the bad side of that
hour by more than the forecast's usual error, the difference is carried to the end of the shift;
of several spots the worst counts. What was read off the shift is carried through that night.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from rules.quantities import weather_columns
from rules.units import UNITS, convert
from rules.verdict import FloatArray
from scheduler.planning.evidence.facts import AGAIN
from scheduler.planning.evidence.observed_then_forecast import hour_of, last_hour
from scheduler.planning.evidence.places import spot
from scheduler.planning.forecast.forecast_error import SIZES
from scheduler.planning.model.calendars import shift_span
from scheduler.planning.model.job import Job
from scheduler.planning.model.log import Entry
from scheduler.planning.tables.hours import Forecast, HourlyTable

# Read over a time, not at a moment; a single figure says nothing of an hour.
AMOUNTS: Final = frozenset({"precipitation_amount", "snowfall_amount", "ice_accumulation"})
GUST, WIND, AIR = "wind_speed_of_gust_ms", "wind_speed_ms", "air_temperature_c"
# Read lower than the forecast's height: it may raise an hour, never lower it.
RAISES: Final = {"gust_at_wall": "wind_speed_of_gust"}
GUST_FACTOR: Final = 1.5  # as the book's rows on gusts; its source stands there
# The usual error on the first day, see forecast_error; of gusts as much more as they are.
USUAL_ERROR: Final = {
    AIR: max(SIZES[AIR].low[0], SIZES[AIR].high[0]),
    WIND: SIZES[WIND].low[0],
    GUST: GUST_FACTOR * SIZES[WIND].low[0],
}
COLD_C, HOT_C = 10.0, 25.0  # which side of air is bad: under 50 F the cold; common practice
BEFORE_SHIFT: Final = timedelta(hours=4)  # read this long before, it is about the coming shift
NEAR_H: Final = 2  # a reading shortly before the table's first hour is held against that


@dataclass(frozen=True, slots=True)
class ReadWeather:
    """One reading of the weather."""

    column: str
    value: float  # SI
    hour: int  # since 1970
    until: int  # hour before which it is carried
    spot: frozenset[str]
    at: datetime
    only_raises: bool = False


def weather_read(job: Job, entries: Iterable[Entry], now: datetime) -> tuple[ReadWeather, ...]:
    """Return the readings of weather up to a moment, oldest first."""
    found = []
    for entry in entries:
        read = entry.reading
        if read is None or entry.at > now or isinstance(read.value, bool):
            continue
        at = read.at or (entry.at if read.start is None and read.end is None else None)
        name = RAISES.get(read.quantity, read.quantity)
        if at is None or at > now or name not in weather_columns() or name in AMOUNTS:
            continue
        column, unit = weather_columns()[name]
        if read.unit not in UNITS or UNITS[read.unit][0] != UNITS[unit][0]:
            continue
        value = float(convert(float(read.value), read.unit, unit))
        until = last_hour(carried_until(job, at))
        raises = read.quantity in RAISES
        found.append(ReadWeather(column, value, hour_of(at), until, spot(read.place), at, raises))
    return tuple(sorted(found, key=lambda one: one.at))


def carried_until(job: Job, at: datetime) -> datetime:
    """Return the end of the shift that a reading speaks for, or of the night it was taken in."""
    zone = ZoneInfo(job.site.time_zone)
    day = at.astimezone(zone).date()
    for later in range(-1, 8):
        span = shift_span(job.calendar, day + timedelta(days=later), zone)
        if span is not None and at < span[1]:
            night = min(span[0], at + timedelta(hours=12))
            return span[1] if at >= span[0] - BEFORE_SHIFT else night
    return at + timedelta(hours=1)


def laid_into(forecast: Forecast, read: Sequence[ReadWeather]) -> Forecast:
    """Return a forecast with what was read on site in its hours."""
    if not read or not forecast.table.hours:
        return forecast
    return replace(forecast, table=with_readings(forecast.table, read))


def with_readings(table: HourlyTable, read: Sequence[ReadWeather]) -> HourlyTable:
    """Return a table ``(..., hours)`` with readings in their hours and differences carried."""
    if not read or not table.hours:
        return table
    columns = dict(table.columns)
    for name in dict.fromkeys(one.column for one in read):
        own = [one for one in read if one.column == name]
        base = _base(columns, name)
        if base is not None:
            first = int(table.start[0].astype(np.int64))
            columns[name] = _laid(np.asarray(base, dtype=np.float64), own, first)
    return HourlyTable(table.start, columns)


def _base(columns: Mapping[str, FloatArray], name: str) -> FloatArray | None:
    if name in columns or name != GUST or WIND not in columns:
        return columns.get(name)
    return np.asarray(columns[WIND] * GUST_FACTOR, dtype=np.float64)


def _laid(base: FloatArray, read: Sequence[ReadWeather], first: int) -> FloatArray:
    out, hours = base.copy(), base.shape[-1]
    begin = max(read[0].hour - first, 0)
    end = min(max(max(one.until, one.hour + 1) for one in read) - first, hours)
    for at in range(begin, end):
        told = [_at(base, one, at, first) for one in _newest(read, first + at)]
        said = [value for value in told if value is not None]
        if said:
            out[..., at] = _worst(read[0].column, np.array(said))
    return out


def _newest(read: Sequence[ReadWeather], hour: int) -> list[ReadWeather]:
    """Return each spot's newest reading by an hour, and one within the hour before it."""
    kept: dict[frozenset[str], list[ReadWeather]] = {}
    for one in read:
        if one.hour <= hour:
            before = [b for b in kept.get(one.spot, [])[-1:] if one.at - b.at <= AGAIN]
            kept[one.spot] = [*before, one]
    return [one for several in kept.values() for one in several]


def _at(base: FloatArray, one: ReadWeather, at: int, first: int) -> FloatArray | None:
    """Return what a reading makes of an hour: itself, or the forecast with what is carried."""
    there, here = one.hour - first, base[..., at]
    if there == at:
        value = np.full(here.shape, one.value)
        return np.fmax(value, here) if one.only_raises else value
    if at >= one.until - first or there < -NEAR_H:
        return None
    off = one.value - base[..., max(there, 0)]
    carried = np.where(_is_bad(one, off), off, 0.0)
    return np.asarray(here + carried) if carried.any() else None


def _is_bad(one: ReadWeather, off: FloatArray) -> FloatArray:
    """Tell where a difference lies on the bad side by more than the forecast's usual error."""
    usual = USUAL_ERROR.get(one.column, np.inf)
    if one.column != AIR:
        return np.asarray(off > usual)
    cold, hot = one.value < COLD_C, one.value > HOT_C
    return np.asarray((cold & (off < -usual)) | (hot & (off > usual)))


def _worst(column: str, told: FloatArray) -> FloatArray:
    """Return the worst of what several spots make of an hour."""
    low, high = told.min(axis=0), told.max(axis=0)
    if column in {WIND, GUST}:
        return np.asarray(high)
    if column == AIR:
        return np.asarray(np.where(high > HOT_C, high, low))
    return np.asarray(told[-1])
