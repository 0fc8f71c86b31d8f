"""When a task may go on: starts inside working hours, the best of them, the next one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Final

import numpy as np

from rules.book import Book, Row
from rules.judge import Asked, is_by_hour, is_by_start, start_and_work_verdicts
from rules.verdict import Verdict
from rules.weather import Weather
from scheduler.planning.answer import Span
from scheduler.planning.calendars import crew_calendars, shift_on
from scheduler.planning.decide_facts import facts_of
from scheduler.planning.decide_hours import hour_of, moment_of
from scheduler.planning.decide_judging import judge
from scheduler.planning.decide_known import Known
from scheduler.planning.decide_ruling import GRAVITY, Judged
from scheduler.planning.decide_trial import Trial
from scheduler.planning.job import Task

COMING_DAYS: Final = 10
LEAST_H: Final = 0.5


def length(task: Task) -> timedelta:
    """Return how long a task takes: as booked, what is left of it, else its hours."""
    if task.booked is not None and task.until is not None and task.until > task.booked:
        return task.until - task.booked
    hours = task.hours_left if task.hours_left is not None else task.duration_h
    return timedelta(hours=max(hours, LEAST_H))


def piece(known: Known, task: Task, start: datetime) -> timedelta:
    """Return how long a task can go on from a start: work that may pause ends with the shift."""
    took = length(task)
    if not task.may_pause or task.until is not None:
        return took
    shift = shift_span(known, task, known.local_day(start))
    return took if shift is None or shift.end <= start else min(took, shift.end - start)


def shift_span(known: Known, task: Task, day: date) -> Span | None:
    """Return the hours of a local day in which every crew of a task works; None where none are."""
    shifts = [shift_on(calendar, day) for calendar in crew_calendars(known.job, task)]
    here = [shift for shift in shifts if shift is not None]
    if len(here) < len(shifts):
        return None
    start, end = max(s.start for s in here), min(s.end for s in here)
    return Span(_at(known, day, start), _at(known, day, end)) if start < end else None


def _at(known: Known, day: date, clock: time) -> datetime:
    return datetime.combine(day, clock, tzinfo=known.zone).astimezone(UTC)


def starts_on(known: Known, task: Task, day: date) -> list[datetime]:
    """Return the whole hours of a day at which a task can begin and end inside the shift.

    A task longer than the shift begins with it: whether it may pause is the planner's question.
    """
    shift = shift_span(known, task, day)
    if shift is None:
        return []
    first = max(shift.start, known.now)
    hour = moment_of(hour_of(first))
    if hour < first:
        hour += timedelta(hours=1)
    latest = max(shift.end - length(task), shift.start)
    starts = []
    while hour <= latest:
        starts.append(hour)
        hour += timedelta(hours=1)
    return starts


def days_of(known: Known, begin: datetime, count: int = COMING_DAYS) -> Iterator[date]:
    """Return local days from a moment on."""
    first = known.local_day(begin)
    for n in range(count):
        yield first + timedelta(days=n)


def likely(
    known: Known, task: Task, rows: Sequence[Row], starts: Sequence[datetime]
) -> list[bool]:
    """Tell which starts the book's weather rows let pass, all at once.

    Facts and readings of today are left out: they say nothing of another day.
    """
    if not starts or not known.view.hours:
        return [True] * len(starts)
    first = min(hour_of(starts[0]), hour_of(known.now))
    last = max(s.end for s in known.view.hours.values())
    count = max(last - first, 1)
    columns = {name: s.hours(first, first + count) for name, s in known.view.hours.items()}
    kept = tuple(r for r in rows if is_by_hour(r) or is_by_start(r))
    book = Book(edition="", name="", rows=kept)
    asked = Asked(task.work_type, facts_of(known, task))
    longest = max(piece(known, task, start) for start in starts)
    hours = int(np.ceil(longest.total_seconds() / 3600.0))
    verdicts = start_and_work_verdicts(book, asked, Weather(columns, count), hours)
    places = [hour_of(start) - first for start in starts]
    return [p < count and verdicts[p] <= Verdict.GO_WITH_PROTECTION for p in places]


def best_of_day(
    known: Known, task: Task, rows: Sequence[Row], book: Book, day: date
) -> Judged | None:
    """Return the day's best start: mildest, then with the fewest refusals, then the earliest."""
    starts = starts_on(known, task, day)
    if not starts:
        return None
    spans = [Span(s, s + piece(known, task, s)) for s in starts]
    judged = [judge(Trial(known, task, span), rows, book, deep=False) for span in spans]
    best = min(judged, key=_merit)
    return judge(best.trial, rows, book)


def _merit(judged: Judged) -> tuple[int, int, datetime]:
    return GRAVITY[judged.outcome], len(judged.refusals), judged.trial.start


def best_coming(
    known: Known, task: Task, rows: Sequence[Row], book: Book, *, begin: datetime
) -> Judged | None:
    """Return the first start from a moment on that nothing refuses; None where there is none."""
    for judged in _passing(known, task, rows, book, begin):
        return judged
    return None


def _passing(
    known: Known, task: Task, rows: Sequence[Row], book: Book, begin: datetime
) -> Iterator[Judged]:
    starts = [s for d in days_of(known, begin) for s in starts_on(known, task, d) if s >= begin]
    for start, passes in zip(starts, likely(known, task, rows, starts), strict=True):
        if not passes:
            continue
        span = Span(start, start + piece(known, task, start))
        judged = judge(Trial(known, task, span), rows, book)
        if not [r for r in judged.refusals if r.moves or (r.clears_at or start) > start]:
            yield judged


def first_working(known: Known, task: Task, begin: datetime) -> datetime | None:
    """Return the first moment from ``begin`` on at which work can begin."""
    for day in days_of(known, begin, 30):
        shift = shift_span(known, task, day)
        if shift is None:
            continue
        latest = max(shift.end - length(task), shift.start)
        start = max(shift.start, begin)
        if start <= latest:
            return start
    return None


def offered_slots(known: Known, task: Task) -> list[datetime]:
    """Return every start that somebody offers for a task, still to come, in order."""
    found = {*task.slots}
    if task.appointment is not None:
        found |= {task.appointment.start, *task.appointment.slots}
    for paper in known.documents_for(task):
        for key in ("slots", "other_slots"):
            found |= set(_moments(paper.terms.get(key)))
    return sorted(s for s in found if s >= known.now)


def _moments(value: object) -> Iterable[datetime]:
    items = value if isinstance(value, list | tuple) else []
    return [item for item in items if isinstance(item, datetime)]
