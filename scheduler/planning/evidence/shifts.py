"""Working hours of a task: its shifts, where it can begin, when it ends, across nights."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from typing import Final

import numpy as np

from scheduler.planning.evidence.known import Known
from scheduler.planning.evidence.observed_then_forecast import hour_of
from scheduler.planning.model.answer import Span
from scheduler.planning.model.calendars import crew_calendars, shift_on
from scheduler.planning.model.job import State, Task
from scheduler.planning.tables.finish import BoolArray

COMING_DAYS: Final = 10
LONGEST_DAYS: Final = 120  # how far a task that pauses is followed
LEAST_H: Final = 0.5


def hours_of(known: Known, task: Task) -> float:
    """Return how many hours of work a task takes; what is left of one under way."""
    standing = known.standing.get(task.id)
    under_way = standing is not None and standing.state is State.UNDER_WAY
    hours = standing.hours_left if under_way and standing is not None else task.duration_h
    return max(hours, LEAST_H)


def goes_on(known: Known, task: Task) -> datetime | None:
    """Return when work under way goes on: now in its shift, else as the next one begins."""
    standing = known.standing.get(task.id)
    if standing is None or standing.state is not State.UNDER_WAY:
        return None
    for day in days_of(known, known.now, COMING_DAYS):
        shift = shift_span(known, task, day)
        if shift is not None and known.now < shift.end:
            return max(shift.start, known.now)
    return known.now


def booked_length(task: Task) -> timedelta | None:
    """Return how long a task is booked for; None where it is not booked from and until.

    Work that takes fewer hours than it is booked from and until begins anywhere between them.
    """
    if task.booked is None or task.until is None or task.until <= task.booked:
        return None
    booked = task.until - task.booked
    return booked if timedelta(hours=task.duration_h) >= booked else None


def finish_of(known: Known, task: Task, start: datetime) -> datetime:
    """Return when a task begun at a moment ends; one that may pause goes on by shifts."""
    booked = booked_length(task)
    if booked is not None:
        return start + booked
    left = timedelta(hours=hours_of(known, task))
    if not task.may_pause:
        return start + left
    for day in days_of(known, start, LONGEST_DAYS):
        shift = shift_span(known, task, day)
        if shift is None or shift.end <= start:
            continue
        begin = max(shift.start, start)
        if shift.end - begin >= left:
            return begin + left
        left -= shift.end - begin
    return start + left


def piece_end(known: Known, task: Task, start: datetime) -> datetime:
    """Return how far a task can go from a start: work that may pause ends with the shift.

    What was done by the evening is kept as it stands; the rest is judged when its turn comes.
    """
    whole = finish_of(known, task, start)
    if not task.may_pause or booked_length(task) is not None:
        return whole
    shift = shift_span(known, task, known.local_day(start))
    return whole if shift is None or shift.end <= start else min(whole, shift.end)


def shift_span(known: Known, task: Task, day: date) -> Span | None:
    """Return the hours of a local day in which every crew of a task works; None where none are.

    Of a task that is done in daylight only those of daylight, on days whose sun is known.
    """
    shifts = [shift_on(calendar, day) for calendar in crew_calendars(known.job, task)]
    here = [shift for shift in shifts if shift is not None]
    if len(here) < len(shifts):
        return None
    start, end = max(s.start for s in here), min(s.end for s in here)
    begin, over = _at(known, day, start), _at(known, day, end)
    if task.daylight_only and day in known.sun:
        rise, down = known.sun[day]
        if rise is None or down is None:
            return None
        # Whole hours of light, as a plan counts them: nobody begins at the minute of sunrise.
        hour = timedelta(hours=1)
        begin += hour * max(math.ceil((rise - begin) / hour), 0)
        over = begin + (down - begin) // hour * hour if down < over else over
    return Span(begin, over) if start < end and begin < over else None


def _at(known: Known, day: date, clock: time) -> datetime:
    return datetime.combine(day, clock, tzinfo=known.zone).astimezone(UTC)


def days_of(known: Known, begin: datetime, count: int = COMING_DAYS) -> Iterator[date]:
    """Return local days from a moment on."""
    first = known.local_day(begin)
    for n in range(count):
        yield first + timedelta(days=n)


def _latest(known: Known, task: Task, shift: Span) -> datetime:
    """Return the last start in a shift: the whole task fits, or a useful piece of one that may.

    A task longer than the shift that may not pause begins with it.
    """
    if task.may_pause:
        piece = min(hours_of(known, task), task.least_piece_h)
        return max(shift.end - timedelta(hours=piece), shift.start)
    took = booked_length(task) or timedelta(hours=hours_of(known, task))
    return max(shift.end - took, shift.start)


def starts_on(known: Known, task: Task, day: date) -> list[datetime]:
    """Return the hours of a day, counted from the shift's beginning, at which it can begin."""
    shift = shift_span(known, task, day)
    if shift is None:
        return []
    late = max(known.now - shift.start, timedelta(0)) / timedelta(hours=1)
    hour = shift.start + timedelta(hours=math.ceil(late))
    starts = []
    while hour <= _latest(known, task, shift):
        starts.append(hour)
        hour += timedelta(hours=1)
    return starts


def first_working(known: Known, task: Task, begin: datetime) -> datetime | None:
    """Return the first moment from ``begin`` on at which work can begin; None in 30 days."""
    for day in days_of(known, begin, 30):
        shift = shift_span(known, task, day)
        if shift is None:
            continue
        start = max(shift.start, begin)
        if start <= _latest(known, task, shift):
            return start
    return None


def worked(known: Known, task: Task, span: Span) -> BoolArray | None:
    """Return which hours of a span are worked; None where all are.

    Only a task that may pause leaves hours between its first and last unworked.
    """
    if not task.may_pause or known.local_day(span.start) == known.local_day(span.end):
        return None
    low, high = hour_of(span.start), -int(-span.end.timestamp() // 3600)
    mask = np.zeros(max(high - low, 0), dtype=np.bool_)
    for day in days_of(known, span.start, LONGEST_DAYS):
        shift = shift_span(known, task, day)
        if shift is not None and shift.start < span.end:
            mask[max(hour_of(shift.start) - low, 0) : hour_of(shift.end) - low] = True
        if known.local_day(span.end) < day:
            break
    return mask
