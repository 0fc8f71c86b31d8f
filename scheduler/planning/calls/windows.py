"""When a task may go on: which starts the weather lets pass, the best of them, the next one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime

import numpy as np

from rules.book import Book
from rules.book_rows import Row
from rules.conditions import fixed_conditions
from rules.judge import (
    Asked,
    gravest_between,
    hour_verdicts,
    is_by_hour,
    is_by_start,
    start_verdicts,
)
from rules.verdict import Verdict, VerdictArray
from rules.weather import Weather
from scheduler.planning.calls.judging import judge
from scheduler.planning.evidence.known import Known
from scheduler.planning.evidence.observed_then_forecast import hour_of, last_hour, moment_of
from scheduler.planning.evidence.shifts import days_of, piece_end, starts_on, worked
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import Span
from scheduler.planning.model.job import Task
from scheduler.planning.model.means import with_means
from scheduler.planning.rulings.ruling import GRAVITY, Judged


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
    told = Asked(task.work_type, known.evidence.of(task, moment_of(first)))
    asked = with_means(told, known.job, known.now, moment_of(first))
    # An old forecast picks no hours; work that no weather refuses has them all.
    if known.view.stale:
        looked = [r for r in kept if not (r.only_advises or r.seen_on_site or r.felt)]
        return [all(fixed_conditions(r, asked) is False for r in looked)] * len(starts)
    weather = Weather(columns, count)
    ends = np.arange(count, dtype=np.int64) + 1
    for start in starts:
        if hour_of(start) - first < count:
            finish = piece_end(known, task, start)
            ends[hour_of(start) - first] = last_hour(finish) - first
    hours = hour_verdicts(book, asked, weather)
    worst = gravest_between(_in_shifts(known, task, hours, first), np.arange(count), ends)
    around = start_verdicts(book, asked, weather, ends)
    beyond = np.where(ends > count, np.int8(Verdict.NOT_KNOWN), np.int8(Verdict.GO))
    verdicts = np.maximum(np.maximum(worst, around), beyond)
    places = [hour_of(start) - first for start in starts]
    return [p < count and verdicts[p] <= Verdict.GO_WITH_PROTECTION for p in places]


def _in_shifts(known: Known, task: Task, verdicts: VerdictArray, first: int) -> VerdictArray:
    """Return hour verdicts with the hours between shifts of a task that pauses left out."""
    span = Span(moment_of(first), moment_of(first + verdicts.size))
    shifts = worked(known, task, span)
    return verdicts if shifts is None else np.where(shifts, verdicts, np.int8(Verdict.GO))


def best_of_day(
    known: Known, task: Task, rows: Sequence[Row], book: Book, day: date
) -> Judged | None:
    """Return the day's best start: mildest, then with the fewest refusals, then the earliest."""
    starts = starts_on(known, task, day)
    if not starts:
        return None
    spans = [Span(s, piece_end(known, task, s)) for s in starts]
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
        judged = judge(Trial(known, task, Span(start, piece_end(known, task, start))), rows, book)
        if not [r for r in judged.refusals if r.moves or (r.clears_at or start) > start]:
            yield judged


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
