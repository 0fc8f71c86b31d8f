"""By which day each thing is ordered, so that it is there when the plan needs it.

What a task needs is there the evening before it begins, also where it begins as early as it does
in one of ten scenarios.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.planning.forecast.scenarios import Scenarios
from scheduler.planning.forecast.weather_odds import Days, day_of_share, first_day_odds
from scheduler.planning.model.calendars import shift_on
from scheduler.planning.model.job import Job, Order
from scheduler.planning.plan.plan_answer import PlanLine

FREEZING_C: Final = 0.0
ONE_IN_TEN: Final = 10.0


@dataclass(frozen=True, slots=True)
class OrderDate:
    """One thing: when the plan needs it, and the last day to order it."""

    order: Order
    task: str  # the task that needs it, by its name
    needed: datetime | None  # UTC; None: no place in the plan
    earliest: datetime | None  # as early as in one of ten scenarios, where the odds are known
    order_by: date | None  # local workday
    late: bool = False  # that day is past: it will not be there in time


@dataclass(frozen=True, slots=True)
class OrderDates:
    """Every order of a job, soonest first, and the first cold night."""

    rows: tuple[OrderDate, ...]
    first_cold_night: date | None  # a freezing night by then in one of ten scenarios


def order_dates(
    job: Job,
    lines: Iterable[PlanLine],
    weather: Scenarios,
    *,
    early: Mapping[str, datetime],
    hour_zero: datetime,
    now: datetime,
) -> OrderDates:
    """Return by which day each thing of the job is ordered; what is for work done is left out.

    Parameters
    ----------
    job : Job
    lines : PlanLine
        Every task of the job in the plan, with its odds where they are known.
    early : mapping
        Start of each task that one scenario in ten comes to, or an earlier one; empty without
        past years.
    weather : Scenarios
        ``(scenarios, hours)`` from ``hour_zero``, UTC.
    hour_zero, now : datetime
    """
    by_id = {line.id: line for line in lines}
    rows = [
        _row(job, order, by_id, early, now=now)
        for order in job.orders
        if not by_id[order.for_task].done
    ]
    rows.sort(key=lambda row: (row.order_by is None, row.order_by or date.max, row.order.what))
    return OrderDates(tuple(rows), first_cold_night(job, weather, hour_zero))


def first_cold_night(job: Job, weather: Scenarios, hour_zero: datetime) -> date | None:
    """Return the day by which one of ten scenarios has had a night at or below freezing."""
    air = weather.table.columns.get("air_temperature_c")
    if air is None:
        return None
    hours = air.shape[-1]
    days = Days.of(job.site.time_zone, hour_zero=hour_zero, hours=hours)
    first, _ = first_day_odds(np.atleast_2d(days.lows(air)), FREEZING_C)
    number = day_of_share(first, ONE_IN_TEN) if first.size else float("inf")
    if not np.isfinite(number):
        return days.days[0] if number < 0 else None
    return days.days[int(number)]


def _row(
    job: Job,
    order: Order,
    by_id: Mapping[str, PlanLine],
    early: Mapping[str, datetime],
    *,
    now: datetime,
) -> OrderDate:
    line = by_id[order.for_task]
    if line.start is None:
        return OrderDate(order, line.name, None, None, None)
    earliest = early.get(line.id)
    zone = ZoneInfo(job.site.time_zone)
    day_needed = min(line.start, earliest or line.start).astimezone(zone).date()
    order_by = _workday_before(job, day_needed - timedelta(days=1 + order.lead_days))
    late = order_by < now.astimezone(zone).date()
    return OrderDate(order, line.name, line.start, earliest, order_by, late)


def _workday_before(job: Job, day: date) -> date:
    """Return the day, or the last workday before it."""
    while shift_on(job.calendar, day) is None:
        day -= timedelta(days=1)
    return day
