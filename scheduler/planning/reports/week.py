"""The coming days hour by hour: what each open task may do when, and which limit says so."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from rules.book import Book
from rules.explain import Reason, explain
from rules.verdict import Verdict, VerdictArray
from rules.weather import Weather
from scheduler.planning.evidence.facts import asked_of
from scheduler.planning.model.calendars import moment_of
from scheduler.planning.model.frame import Frame, shift_of
from scheduler.planning.model.job import Task
from scheduler.planning.tables.finish import BoolArray
from scheduler.planning.tables.hours import HourlyTable

DAYS: Final = 7
MOST_REASONS: Final = 3  # of one span; the gravest


@dataclass(frozen=True, slots=True)
class WhySpan:
    """Hours of one verdict, and the limits that decide them."""

    start: datetime  # UTC
    end: datetime
    verdict: Verdict
    reasons: tuple[Reason, ...]  # none where the verdict is go


@dataclass(frozen=True, slots=True)
class TaskDay:
    """One task on one local day: 23, 24 or 25 hours."""

    day: date
    verdicts: tuple[Verdict | None, ...]  # by hour; None: past, or beyond the forecast
    in_shift: tuple[bool, ...]
    spans: tuple[WhySpan, ...]  # of the shift's hours


@dataclass(frozen=True, slots=True)
class TaskWeek:
    """One task over the coming days."""

    task: str
    days: tuple[TaskDay, ...]


def week(
    frame: Frame, book: Book, table: HourlyTable, hourly: Mapping[str, VerdictArray]
) -> tuple[TaskWeek, ...]:
    """Return the coming days of every open task.

    Parameters
    ----------
    frame : Frame
        Its hour zero is the first hour of ``table`` and of ``hourly``.
    book : Book
    table : HourlyTable
        The forecast, ``(hours,)`` of the frame.
    hourly : (hours,), by task
        Verdict of each hour that the forecast tells; a table shorter than the frame ends there.
    """
    weather = Weather(dict(table.columns), frame.hours)
    return tuple(
        TaskWeek(task.id, tuple(_days(frame, book, weather, task, hourly[task.id])))
        for task in frame.open_tasks
        if task.id in hourly
    )


def _days(
    frame: Frame, book: Book, weather: Weather, task: Task, verdicts: VerdictArray
) -> Iterator[TaskDay]:
    zone, shift = ZoneInfo(frame.job.site.time_zone), shift_of(frame, task)
    first = frame.hour_zero.astimezone(zone).date()
    for number in range(DAYS):
        own = first + timedelta(days=number)
        low, high = (_midnight(frame, own + timedelta(days=more), zone) for more in (0, 1))
        hours = range(low, high)
        told = [int(verdicts[h]) if 0 <= h < verdicts.size else None for h in hours]
        if all(one is None for one in told):
            continue
        yield TaskDay(
            own,
            tuple(None if one is None else Verdict(one) for one in told),
            tuple(bool(shift[h]) if 0 <= h < frame.hours else False for h in hours),
            tuple(_spans(frame, book, weather, task, verdicts, shift, (low, high))),
        )


def _midnight(frame: Frame, day: date, zone: ZoneInfo) -> int:
    """Return the hour of the frame at which a local day begins."""
    midnight = datetime(day.year, day.month, day.day, tzinfo=zone)
    return frame.hour(midnight)


def _spans(
    frame: Frame,
    book: Book,
    weather: Weather,
    task: Task,
    verdicts: VerdictArray,
    shift: BoolArray,
    between: tuple[int, int],
) -> Iterator[WhySpan]:
    """Yield the shift's hours of one day, each run of one verdict at a time."""
    low, high = max(between[0], 0), min(between[1], verdicts.size)
    inside = np.flatnonzero(shift[low:high]) + low
    if not inside.size:
        return
    breaks = np.flatnonzero((np.diff(inside) != 1) | (np.diff(verdicts[inside]) != 0)) + 1
    for run in np.split(inside, breaks):
        verdict = Verdict(int(verdicts[run[0]]))
        begin, end = int(run[0]), int(run[-1]) + 1
        reasons: tuple[Reason, ...] = ()
        if verdict is not Verdict.GO:
            asked = asked_of(frame, task)
            found = explain(book, asked, weather, begin, end)
            reasons = tuple(
                one for one in found if one.verdict is verdict and not one.ask_on_site
            )[:MOST_REASONS]
        yield WhySpan(
            moment_of(frame.hour_zero, begin), moment_of(frame.hour_zero, end), verdict, reasons
        )
