"""Which trial a call is about: as booked, else the best offer, day or hour; and what comes next.

Where no offer passes as things stand, a measure that the job supposes (a what-if) may save one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from rules.book import Book
from rules.book_rows import Row
from rules.kinds import Form, kind_of
from scheduler.planning.calls.judging import judge
from scheduler.planning.calls.links import earliest_start
from scheduler.planning.calls.under_way import judged_now
from scheduler.planning.calls.windows import best_coming, best_of_day, offered_slots
from scheduler.planning.evidence.known import Known
from scheduler.planning.evidence.shifts import booked_length, first_working, piece_end
from scheduler.planning.evidence.times import forecast_end
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import Span
from scheduler.planning.model.job import State, Task
from scheduler.planning.rulings.ruling import GRAVITY, Chosen, Judged


def choose(known: Known, task: Task, rows: Sequence[Row], book: Book) -> Chosen:
    """Return the trial that a task is asked about, with its offers and what comes next."""
    going = judged_now(known, task, rows, book)
    options = [] if going is not None else _options(known, task, rows, book)
    start = _asked_start(known, task)
    if going is not None:
        judged = going
    elif start is not None:
        judged = judge(Trial(known, task, _asked_span(known, task, start)), rows, book)
    elif options:
        judged = min(options, key=_merit)
    else:
        judged = _coming(known, task, rows, book)
    supposed = _supposed(known, options or [judged], rows, book)
    judged = _saved_sooner(judged, options, supposed)
    return Chosen(
        judged,
        tuple(options),
        next_start(known, task, rows, book, judged),
        tuple(supposed),
        _helped(judged, supposed),
    )


def _merit(judged: Judged) -> tuple[int, datetime]:
    return GRAVITY[judged.outcome], judged.trial.start


def _asked_start(known: Known, task: Task) -> datetime | None:
    if kind_of(task.work_type).form is Form.STANDING:
        return task.booked or known.now
    visit = task.appointment.start if task.appointment is not None and not task.slots else None
    # work under way goes on from now, see judged_now
    agreed = (start for start in (task.booked, task.offered, visit) if start is not None)
    return next((start for start in agreed if not _is_missed(known, task, start)), None)


def _is_missed(known: Known, task: Task, start: datetime) -> bool:
    """Tell whether nobody came to an agreed time that is over, while other times are offered."""
    standing = known.standing.get(task.id)
    begun = standing is not None and standing.state is not State.TO_DO
    over = _asked_span(known, task, start).end <= known.now
    return over and not begun and any(slot > known.now for slot in offered_slots(known, task))


def _asked_span(known: Known, task: Task, start: datetime) -> Span:
    shorter = task.booked is not None and booked_length(task) is None
    if task.until is not None and task.until > start and not shorter:
        return Span(start, task.until)
    if kind_of(task.work_type).form is Form.STANDING:
        end = forecast_end(known)
        return Span(start, max(end or start, start + timedelta(hours=24)))
    return Span(start, piece_end(known, task, start))


def _options(known: Known, task: Task, rows: Sequence[Row], book: Book) -> list[Judged]:
    """Return every offer judged: days by their best start, slots as they are."""
    if task.days:
        ahead = [day for day in task.days if day >= known.local_day(known.now)]
        found = [best_of_day(known, task, rows, book, day) for day in ahead]
        return [judged for judged in found if judged is not None]
    slots = {*task.slots, *offered_slots(known, task)}
    spans = [Span(slot, piece_end(known, task, slot)) for slot in sorted(slots)]
    return [judge(Trial(known, task, span), rows, book) for span in spans if span.end > known.now]


def _coming(known: Known, task: Task, rows: Sequence[Row], book: Book) -> Judged:
    begin, _ = earliest_start(known, task)
    found = best_coming(known, task, rows, book, begin=begin)
    if found is not None:
        return found
    start = first_working(known, task, begin) or begin
    return judge(Trial(known, task, Span(start, piece_end(known, task, start))), rows, book)


# supposed measures


def _supposed(
    known: Known, plain: Iterable[Judged], rows: Sequence[Row], book: Book
) -> list[Judged]:
    return [
        judge(replace(judged.trial, what_if=what_if), rows, book, deep=False)
        for what_if in known.job.what_ifs
        for judged in plain
    ]


def _helped(judged: Judged, supposed: Iterable[Judged]) -> Judged | None:
    """Return the earliest supposed trial that passes and costs less than waiting."""
    if not judged.refusals:
        return None
    passing = [
        other
        for other in supposed
        if not other.refusals
        and other.trial.what_if is not None
        and other.trial.what_if.cost_below_waiting is not False
    ]
    return min(passing, key=lambda other: other.trial.start, default=None)


def _saved_sooner(judged: Judged, options: Iterable[Judged], supposed: Iterable[Judged]) -> Judged:
    """Return an offer before the chosen one that a measure saves for less than waiting costs."""
    soonest = min(
        (
            other.trial.start
            for other in supposed
            if not other.refusals
            and other.trial.what_if
            and other.trial.what_if.cost_below_waiting
        ),
        default=judged.trial.start,
    )
    if judged.refusals or soonest >= judged.trial.start:
        return judged
    return next((one for one in options if one.trial.start == soonest), judged)


# the next possible start


def next_start(
    known: Known, task: Task, rows: Sequence[Row], book: Book, judged: Judged
) -> datetime | None:
    """Return the earliest start at which nothing known stands in the way; None if none is known.

    A refusal that says when it is over moves the start there; one that rests on the weather is
    searched for a better hour; one that nobody can date leaves no start to name.
    """
    refusals = judged.refusals
    if not refusals:
        return judged.trial.start if judged.trial.start >= known.now else None
    dated = [r.clears_at for r in refusals if r.clears_at is not None]
    if any(r.clears_at is None and not r.moves for r in refusals):
        return None
    if kind_of(task.work_type).form is Form.STANDING:
        return None  # what stands does not begin at a better hour
    begin = max([known.now, judged.trial.start, *dated])
    if len(dated) == len(refusals):
        later = [slot for slot in offered_slots(known, task) if slot >= begin]
        return later[0] if later else first_working(known, task, begin)
    slots = [slot for slot in offered_slots(known, task) if slot >= begin]
    if slots:
        return _first_good_slot(known, task, rows, book, slots)
    found = best_coming(known, task, rows, book, begin=begin)
    return None if found is None else found.trial.start


def _first_good_slot(
    known: Known, task: Task, rows: Sequence[Row], book: Book, slots: Iterable[datetime]
) -> datetime | None:
    for slot in slots:
        judged = judge(Trial(known, task, Span(slot, piece_end(known, task, slot))), rows, book)
        if not [r for r in judged.refusals if r.moves]:
            return slot
    return None
