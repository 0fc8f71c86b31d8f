"""One hourly axis for a decision: the past as observed, then the newest forecast.

Hours are whole numbers since 1970-01-01T00Z, labelled by their beginning. Values are SI under
house names. Past hours that nothing observed come from the forecast that was newest then.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from rules.verdict import FloatArray
from scheduler.planning.tables.hours import DailyRow, Forecast, HourlyTable

# The shape of a day that comes as its low and high only: low at 06:00, high at 15:00 local, half
# a cosine between. Common practice, no source; the extremes are the row's own.
LOW_AT: Final = time(6)
HIGH_AT: Final = time(15)
AMOUNTS: Final = ("precipitation_amount_mm", "snowfall_amount_mm")
WHOLE_DAY: Final = {
    "precipitation_probability_pct": "precipitation_probability_pct",
    "wind_speed_max_ms": "wind_speed_ms",
    "wind_speed_of_gust_max_ms": "wind_speed_of_gust_ms",
}
FORTY_F_C: Final = 40.0 / 9.0


def hour_of(moment: datetime) -> int:
    """Return the hour a moment lies in."""
    return int(moment.timestamp() // 3600)


def moment_of(hour: int) -> datetime:
    """Return the beginning of an hour."""
    return datetime.fromtimestamp(hour * 3600, tz=UTC)


@dataclass(frozen=True, slots=True)
class Series:
    """One column on the axis: values, NaN where nothing says; what was seen, not forecast."""

    first: int
    values: FloatArray  # (hours,)
    end: int  # hour after the last that the sources reach, gap or not
    seen_until: int  # hours before it were observed

    def cut(self, start: datetime, end: datetime) -> FloatArray:
        """Return the hours that overlap a span, NaN where the series does not reach."""
        return self.hours(hour_of(start), _after(end))

    def hours(self, low: int, high: int) -> FloatArray:
        """Return hours ``low`` up to ``high``, NaN where the series does not reach."""
        out = np.full(max(high - low, 0), np.nan)
        begin, stop = max(low, self.first), min(high, self.first + self.values.size)
        if stop > begin:
            out[begin - low : stop - low] = self.values[begin - self.first : stop - self.first]
        return out


def _after(end: datetime) -> int:
    return -int(-end.timestamp() // 3600)


def last_hour(end: datetime) -> int:
    """Return the hour label that a span ends before."""
    return _after(end)


def lay(
    newest: Forecast | None,
    older: Sequence[Forecast],
    observed: Forecast | None,
    *,
    zone: ZoneInfo,
) -> dict[str, Series]:
    """Lay observations and forecasts on one axis, column by column.

    Parameters
    ----------
    newest, older : Forecast
        The forecast that counts, and earlier ones, oldest first, for past hours only.
    observed : Forecast or None
        What was measured; it wins over any forecast.
    zone : ZoneInfo
        The site's zone, for rows that come by local days.
    """
    sources = [s for s in (observed, newest) if s is not None]
    tables = [_tables(source, zone) for source in sources]
    begun = _begin(newest)
    for forecast in reversed(older):
        cut = [_before(table, begun) for table in _tables(forecast, zone)]
        tables.append([table for table in cut if table is not None])
    seen = len(tables[0]) if observed is not None and tables else 0
    flat = [table for group in tables for table in group]
    return {name: _laid(name, flat, seen) for name in _names(flat)}


def _names(tables: Iterable[HourlyTable]) -> list[str]:
    return sorted({name for table in tables for name in table.columns})


def _tables(forecast: Forecast, zone: ZoneInfo) -> list[HourlyTable]:
    made = [forecast.table] if forecast.table.hours else []
    if forecast.daily:
        made.append(hours_of_days(forecast.daily, zone))
    return made


def _begin(newest: Forecast | None) -> int | None:
    if newest is None or newest.table.hours == 0:
        return None
    return int(newest.table.start[0].astype("datetime64[h]").astype(np.int64))


def _before(table: HourlyTable, hour: int | None) -> HourlyTable | None:
    if hour is None or table.hours == 0:
        return table
    keep = table.start.astype(np.int64) < hour
    if not keep.any():
        return None
    columns = {name: values[..., keep] for name, values in table.columns.items()}
    return HourlyTable(start=table.start[keep], columns=columns)


def _laid(name: str, tables: Sequence[HourlyTable], seen: int) -> Series:
    having = [(i, t) for i, t in enumerate(tables) if name in t.columns]
    first = min(int(t.start[0].astype(np.int64)) for _, t in having)
    end = max(int(t.start[-1].astype(np.int64)) + 1 for _, t in having)
    values = np.full(end - first, np.nan)
    seen_until = first
    for place, table in having:
        at = int(table.start[0].astype(np.int64)) - first
        part = values[at : at + table.hours]
        given = np.asarray(table.columns[name], dtype=np.float64)
        part[:] = np.where(np.isnan(part), given, part)
        if place < seen:
            seen_until = max(seen_until, first + at + table.hours)
    return Series(first=first, values=values, end=end, seen_until=seen_until)


# days


def hours_of_days(rows: Sequence[DailyRow], zone: ZoneInfo) -> HourlyTable:
    """Make hours of rows that come by local days.

    Rain lies between its stated hours, else anywhere in the day: then every hour of the day
    carries its share, so that none counts as dry. A day's strongest wind stands in every hour.
    """
    days = sorted(rows, key=lambda row: row.date)
    first = hour_of(_local(days[0].date, time(0), zone))
    end = _after(_local(_next(days[-1].date), time(0), zone))
    if "air_temperature_min_next_night_c" in days[-1].values:
        end = _after(_local(_next(days[-1].date), LOW_AT, zone)) + 1
    columns: dict[str, FloatArray] = {}
    _lay_air(columns, days, first, end, zone)
    for row in days:
        _lay_amounts(columns, row, first, end, zone)
        _lay_whole_day(columns, row, first, end, zone)
        _lay_warm_face(columns, row, first, end, zone)
    start = np.arange(first, end).astype("datetime64[h]")
    return HourlyTable(start=start, columns=columns)


def _local(day: str, clock: time, zone: ZoneInfo) -> datetime:
    return datetime.combine(date.fromisoformat(day), clock, tzinfo=zone)


def _next(day: str) -> str:
    return (date.fromisoformat(day) + timedelta(days=1)).isoformat()


def _knots(days: Sequence[DailyRow], zone: ZoneInfo) -> dict[int, float]:
    knots: dict[int, float] = {}
    for row in days:
        night = row.values.get("air_temperature_min_next_night_c", np.nan)
        if np.isfinite(night):
            knots[hour_of(_local(_next(row.date), LOW_AT, zone))] = night
    for row in days:
        low = row.values.get("air_temperature_min_c", np.nan)
        high = row.values.get("air_temperature_max_c", np.nan)
        if np.isfinite(low):
            knots[hour_of(_local(row.date, LOW_AT, zone))] = low
        if np.isfinite(high):
            knots[hour_of(_local(row.date, HIGH_AT, zone))] = high
    return knots


def _lay_air(
    columns: dict[str, FloatArray], days: Sequence[DailyRow], first: int, end: int, zone: ZoneInfo
) -> None:
    knots = _knots(days, zone)
    if not knots:
        return
    opening = hour_of(_local(days[0].date, LOW_AT, zone))
    if opening not in knots:  # a first day without its own early low takes the coldest low near
        knots[opening] = min(value for hour, value in knots.items() if hour < opening + 30)
    at = np.array(sorted(knots))
    value = np.array([knots[hour] for hour in at])
    hours = np.arange(first, end)
    left = np.clip(np.searchsorted(at, hours, side="right") - 1, 0, max(at.size - 2, 0))
    right = np.minimum(left + 1, at.size - 1)
    width = np.maximum(at[right] - at[left], 1)
    share = np.clip((hours - at[left]) / width, 0.0, 1.0)
    smooth = (1.0 - np.cos(np.pi * share)) / 2.0
    columns["air_temperature_c"] = value[left] + (value[right] - value[left]) * smooth


def _column(columns: dict[str, FloatArray], name: str, first: int, end: int) -> FloatArray:
    return columns.setdefault(name, np.full(end - first, np.nan))


def _day_hours(row: DailyRow, first: int, zone: ZoneInfo) -> slice:
    low = hour_of(_local(row.date, time(0), zone)) - first
    return slice(low, hour_of(_local(_next(row.date), time(0), zone)) - first)


def _span(row: DailyRow, key: str, first: int, day: slice, *, size: int) -> slice | None:
    start, end = row.moments.get(f"{key}_from"), row.moments.get(f"{key}_until")
    if start is None and end is None:
        return None
    low = hour_of(start) - first if start is not None else day.start
    high = _after(end) - first if end is not None else day.stop
    return slice(max(low, 0), min(max(high, low + 1), size))


def _lay_amounts(
    columns: dict[str, FloatArray], row: DailyRow, first: int, end: int, zone: ZoneInfo
) -> None:
    day = _day_hours(row, first, zone)
    wet = _span(row, "precipitation", first, day, size=end - first)
    for name in AMOUNTS:
        amount = row.values.get(name, np.nan)
        told = name == "precipitation_amount_mm" and "precipitation_from" in row.moments
        if not np.isfinite(amount) and not told:
            continue
        column = _column(columns, name, first, end)
        fresh = column[day]
        fresh[np.isnan(fresh)] = 0.0
        where = wet or day
        if np.isfinite(amount):
            share = amount / max(where.stop - where.start, 1)
        else:
            # Rain is told with its hours and without an amount: wet, how much is not said.
            share = np.inf if wet else 0.0
        column[where] = np.where(np.isnan(column[where]), 0.0, column[where]) + share


def _lay_whole_day(
    columns: dict[str, FloatArray], row: DailyRow, first: int, end: int, zone: ZoneInfo
) -> None:
    for theirs, ours in WHOLE_DAY.items():
        value = row.values.get(theirs, np.nan)
        if np.isfinite(value):
            _column(columns, ours, first, end)[_day_hours(row, first, zone)] = value


def _lay_warm_face(
    columns: dict[str, FloatArray], row: DailyRow, first: int, end: int, zone: ZoneInfo
) -> None:
    """Put 40 °F where faces are told to reach it; elsewhere colder, how much is not said."""
    key = "surface_at_or_above_40f"
    if f"{key}_from" not in row.moments and f"{key}_until" not in row.moments:
        return
    column = _column(columns, "surface_temperature_c", first, end)
    day = _day_hours(row, first, zone)
    column[day] = -np.inf
    warm = _span(row, key, first, day, size=end - first)
    if warm is not None:
        column[warm] = FORTY_F_C
