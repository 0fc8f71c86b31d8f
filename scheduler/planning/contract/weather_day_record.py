"""The weather-day record: each lost day with what was forecast, what was observed, what counts.

It sets side by side what is known. Whether a day is owed is the contract's and the parties' word.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.planning.contract.weather_day_rules import (
    Record,
    anticipated,
    day_records,
    first_beyond,
    judged_days,
    notice_by,
)
from scheduler.planning.model.answer import DayLine
from scheduler.planning.model.job import Document, Job
from scheduler.planning.model.log import Progress
from scheduler.planning.tables.hours import Forecast

NOTICE_ALARM = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class DayWeather:
    """One local day by one source; None where an hour of it is not known."""

    source: str
    issued_at: datetime | None  # of a forecast
    rain_mm: float | None
    low_c: float | None
    high_c: float | None
    gust_ms: float | None


@dataclass(frozen=True, slots=True)
class DayRow:
    """One lost day: what it was, whether it counts and why, the weather behind it."""

    record: Record
    line: DayLine
    counted_so_far: int
    beyond: bool  # counted, and more than the contract foresees
    forecast: DayWeather | None  # the newest issued before the day began
    observed: DayWeather | None


@dataclass(frozen=True, slots=True)
class WeatherDays:
    """The record under one contract."""

    contract: Document
    rows: tuple[DayRow, ...]
    counted: int
    anticipated: int
    first_beyond: date | None
    notice_by: date | None
    notice: str  # "", open, near, past: the notice of the first day beyond

    @property
    def beyond(self) -> int:
        """Return the counted days beyond those that the contract foresees."""
        return max(self.counted - self.anticipated, 0)


def weather_days(
    job: Job,
    progress: Progress,
    *,
    issued_before: Callable[[datetime], Forecast | None],
    observed: Forecast | None,
    now: datetime,
) -> tuple[WeatherDays, ...]:
    """Return the record under each contract of the job.

    Parameters
    ----------
    job, progress : Job, Progress
    issued_before : callable
        The newest forecast issued before a moment, as it came; None where none is kept.
    observed : Forecast or None
        What was measured at the place.
    now : datetime
        UTC.
    """
    records = day_records(job, progress)
    zone = ZoneInfo(job.site.time_zone)

    def weather(record: Record) -> tuple[DayWeather | None, DayWeather | None]:
        morning = datetime.combine(record.day, time(0), zone)
        told = issued_before(morning)
        return (
            None if told is None else day_weather(told, record.day, zone),
            None if observed is None else day_weather(observed, record.day, zone),
        )

    behind = {record.day: weather(record) for record in records}
    contracts = [d for d in job.documents if d.kind == "contract"]
    return tuple(_under(job, contract, records, behind, now) for contract in contracts)


def day_weather(forecast: Forecast, day: date, zone: ZoneInfo) -> DayWeather | None:
    """Return one local day of a table; None where it has no hour of the day."""
    begin = np.datetime64(int(datetime.combine(day, time(0), zone).timestamp() // 3600), "h")
    end_of = datetime.combine(day + timedelta(days=1), time(0), zone)
    end = np.datetime64(int(end_of.timestamp() // 3600), "h")
    table = forecast.table
    inside = (table.start >= begin) & (table.start < end)
    if not inside.any():
        return None
    whole = int(inside.sum()) == int((end - begin).astype(int))

    def taken(column: str, how: Callable[[np.ndarray], float]) -> float | None:
        values = table.column(column)[..., inside]
        if not whole or values.ndim != 1 or not np.isfinite(values).all():
            return None
        return float(how(values))

    return DayWeather(
        source=forecast.provenance.source,
        issued_at=forecast.provenance.issued_at,
        rain_mm=taken("precipitation_amount_mm", np.sum),
        low_c=taken("air_temperature_c", np.min),
        high_c=taken("air_temperature_c", np.max),
        gust_ms=taken("wind_speed_of_gust_ms", np.max),
    )


def _under(
    job: Job,
    contract: Document,
    records: Sequence[Record],
    behind: dict[date, tuple[DayWeather | None, DayWeather | None]],
    now: datetime,
) -> WeatherDays:
    allowed = anticipated(contract)
    judged = judged_days(job, records, contract)
    rows: list[DayRow] = []
    count = 0
    for record, line in judged:
        count += line.counted
        told, seen = behind[record.day]
        beyond = line.counted and count > allowed
        rows.append(DayRow(record, line, count, beyond, told, seen))
    excess = first_beyond(judged, contract)
    by = notice_by(excess, contract)
    today = now.astimezone(ZoneInfo(job.site.time_zone)).date()
    return WeatherDays(contract, tuple(rows), count, allowed, excess, by, _notice(by, today))


def _notice(by: date | None, today: date) -> str:
    if by is None:
        return ""
    if by < today:
        return "past"
    return "near" if by - today <= NOTICE_ALARM else "open"
