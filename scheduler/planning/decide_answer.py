"""One answer put together: the trial that counts, the call, and every line that people need."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final, TypeVar

from rules.book import Book, Row
from rules.kinds import Form, kind_of
from scheduler.planning.answer import (
    Call,
    DecideBy,
    MeasureLine,
    NumberLine,
    OptionLine,
    Span,
    TaskAnswer,
    TellLine,
)
from scheduler.planning.decide_call import call_of
from scheduler.planning.decide_changes import changes
from scheduler.planning.decide_commitments import commitment, done_span, protection_rulings
from scheduler.planning.decide_deadlines import Deadline, of_measures, of_task
from scheduler.planning.decide_judging import judge
from scheduler.planning.decide_known import Known
from scheduler.planning.decide_numbers import at_moments, bearing, extremes
from scheduler.planning.decide_orders import orders_of
from scheduler.planning.decide_ruling import (
    Judged,
    Ruling,
    gravest_first,
    number_of,
)
from scheduler.planning.decide_times import dusk, forecast_end
from scheduler.planning.decide_trial import Trial
from scheduler.planning.decide_windows import (
    best_coming,
    best_of_day,
    first_working,
    length,
    offered_slots,
)
from scheduler.planning.job import Task

MOST_LINES: Final = 15  # of measures, checks and cautions for one task: more is no answer
MOST_NUMBERS: Final = 40  # of one answer, all tasks together
TELL_BEFORE: Final = timedelta(hours=12)  # people hear the evening before; common practice
Line = TypeVar("Line")


@dataclass(frozen=True, slots=True)
class Chosen:
    """The trial that the call is about, the offers it was chosen from, the next possible start."""

    judged: Judged
    options: tuple[Judged, ...] = ()
    next_start: datetime | None = None


def answer_for(
    known: Known, task: Task, rows: Sequence[Row], book: Book, *, done: bool
) -> TaskAnswer | None:
    """Return the answer for one task; None for finished work to which nothing is owed."""
    extra: list[Ruling] = []
    if done:
        kept = _kept_trial(known, task, rows)
        if kept is None:
            return None
        trial, extra = kept
        judged = judge(trial, rows, book)
        chosen = Chosen(replace(judged, rulings=(*judged.rulings, *extra)))
    else:
        chosen = choose(known, task, rows, book)
    trial = chosen.judged.trial
    moved = changes(trial, rows, chosen.judged.rulings)
    whole = replace(chosen.judged, rulings=(*chosen.judged.rulings, *moved))
    return _written(known, task, replace(chosen, judged=whole), book)


def _kept_trial(
    known: Known, task: Task, rows: Sequence[Row]
) -> tuple[Trial, list[Ruling]] | None:
    span = done_span(known, task)
    if span is None:
        return None
    owed = commitment(known, task, rows)
    if owed is None:
        if kind_of(task.work_type).form is not Form.PROTECTION:
            return None
        return Trial(known, task, span), []
    return Trial(known, task, span), protection_rulings(known, owed)


# which trial


def choose(known: Known, task: Task, rows: Sequence[Row], book: Book) -> Chosen:
    """Return the trial that the task is asked about: as booked, else its best offer or hour."""
    options = _options(known, task, rows, book)
    asked = _asked_start(known, task)
    took = length(task)
    if asked is not None:
        judged = judge(Trial(known, task, _asked_span(known, task, asked)), rows, book)
    elif options:
        judged = min(options, key=_merit)
    else:
        found = best_coming(known, task, rows, book, begin=known.now)
        start = first_working(known, task, known.now) or known.now
        judged = found or judge(Trial(known, task, Span(start, start + took)), rows, book)
    later = next_start(known, task, rows, book, judged)
    return Chosen(judged, tuple(options), later)


def _merit(judged: Judged) -> tuple[int, datetime]:
    grave = {"go": 0, "go_with_protection": 1, "not_known": 2, "no_go": 3}
    return grave[judged.outcome.value], judged.trial.start


def _asked_start(known: Known, task: Task) -> datetime | None:
    if kind_of(task.work_type).form is Form.STANDING:
        return task.booked or known.now
    if task.booked is not None:
        return task.booked
    if task.started_at is not None:
        return task.started_at
    if task.offered is not None:
        return task.offered
    if task.appointment is not None and not task.slots:
        return task.appointment.start
    return None


def _asked_span(known: Known, task: Task, start: datetime) -> Span:
    if task.until is not None and task.until > start:
        return Span(start, task.until)
    if kind_of(task.work_type).form is Form.STANDING:
        end = forecast_end(known)
        return Span(start, max(end or start, start + timedelta(hours=24)))
    return Span(start, start + length(task))


def _options(known: Known, task: Task, rows: Sequence[Row], book: Book) -> list[Judged]:
    took = length(task)
    if task.days:
        found = [best_of_day(known, task, rows, book, day) for day in task.days]
        return [judged for judged in found if judged is not None]
    return [
        judge(Trial(known, task, Span(slot, slot + took)), rows, book)
        for slot in sorted(task.slots)
    ]


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
    fixed = [r for r in refusals if not r.moves or r.clears_at is not None]
    if any(r.clears_at is None for r in fixed):
        return None
    begin = max([known.now, *(r.clears_at for r in fixed if r.clears_at is not None)])
    if all(r.clears_at is not None for r in refusals):
        return _slot_or_hour(known, task, begin)
    slots = offered_slots(known, task)
    if slots:
        return _first_good_slot(known, task, rows, book, [s for s in slots if s >= begin])
    found = best_coming(known, task, rows, book, begin=begin)
    return None if found is None else found.trial.start


def _slot_or_hour(known: Known, task: Task, begin: datetime) -> datetime | None:
    later = [slot for slot in offered_slots(known, task) if slot >= begin]
    return later[0] if later else first_working(known, task, begin)


def _first_good_slot(
    known: Known, task: Task, rows: Sequence[Row], book: Book, slots: Iterable[datetime]
) -> datetime | None:
    for slot in slots:
        judged = judge(Trial(known, task, Span(slot, slot + length(task))), rows, book)
        if not [r for r in judged.refusals if r.moves]:
            return slot
    return None


# the lines


def _written(known: Known, task: Task, chosen: Chosen, book: Book) -> TaskAnswer:
    judged = chosen.judged
    later = chosen.next_start
    refused = bool(judged.refusals)
    earliest = later if refused else None
    call = call_of(known, task, judged, earliest)
    rulings = gravest_first(judged.rulings)
    measures = _merged(known, judged, rulings)
    took = length(task)
    return TaskAnswer(
        task=task.id,
        work_type=task.work_type,
        call=call,
        outcome=judged.outcome,
        window=judged.trial.span,
        measures=measures,
        checks=_first(rulings, lambda r: r.checks, lambda c: c.check, MOST_LINES),
        limits=tuple(r.limit for r in rulings if r.limit is not None),
        holds=_first(rulings, lambda r: r.holds, lambda h: h.by, MOST_LINES),
        tell=tuple(_tells(known, task, judged, call, rulings)),
        decide_by=tuple(_decide_by(known, task, judged, call, measures)),
        next_window=None if later is None else Span(later, later + took),
        options=tuple(_option(known, o) for o in chosen.options),
        order=orders_of(judged.trial, book),
        cautions=_first(rulings, lambda r: r.cautions, lambda c: c.caution, MOST_LINES),
        numbers=tuple(_numbers(judged, chosen, rulings)),
        reason=_reason(call, rulings),
    )


def _first(
    rulings: Iterable[Ruling],
    lines: Callable[[Ruling], Sequence[Line]],
    key: Callable[[Line], str],
    most: int,
) -> tuple[Line, ...]:
    """Return the first line of each kind, gravest rulings first."""
    kept: dict[str, Line] = {}
    for ruling in rulings:
        for line in lines(ruling):
            kept.setdefault(key(line), line)
    return tuple(kept.values())[:most]


def _merged(known: Known, judged: Judged, rulings: Iterable[Ruling]) -> tuple[MeasureLine, ...]:
    """Return one line a measure: the earliest start, the latest end.

    What keeps finished work is wanted from now on.
    """
    kept: dict[str, MeasureLine] = {}
    begun = judged.trial.end <= known.now
    for ruling in rulings:
        for line in ruling.measures:
            start = known.now if begun and line.start and line.start < known.now else line.start
            if line.end is not None and line.end < known.now:
                continue
            fresh = replace(line, start=start)
            old = kept.get(line.measure)
            kept[line.measure] = fresh if old is None else _joined(old, fresh)
    return tuple(kept.values())[:MOST_LINES]


def _joined(one: MeasureLine, other: MeasureLine) -> MeasureLine:
    starts = [s for s in (one.start, other.start) if s is not None]
    later = other if _ends_later(other, one) else one
    return replace(later, start=min(starts) if starts else None)


def _ends_later(one: MeasureLine, other: MeasureLine) -> bool:
    if one.end is None or other.end is None:
        return one.end is not None
    return one.end > other.end


def _tells(
    known: Known, task: Task, judged: Judged, call: Call, rulings: Iterable[Ruling]
) -> Iterable[TellLine]:
    for ruling in rulings:
        yield from ruling.tells
    refused = call in {Call.WAIT, Call.HOLD, Call.STOP}
    cut_offs = of_task(known, task, judged.trial.start)
    for deadline in cut_offs:
        if deadline.role:
            what = "the booking moves" if refused else f"confirm: {deadline.why}"
            yield TellLine(deadline.role, what, deadline.at)
    if refused and (task.booked or task.offered or task.slots):
        told = {d.role for d in cut_offs}
        by = max(known.now, judged.trial.start - TELL_BEFORE)
        for role in _roles(known, task):
            if role not in told:
                yield TellLine(role, "the booking moves", by)


def _roles(known: Known, task: Task) -> list[str]:
    from scheduler.planning.decide_deadlines import role_of

    roles = [role_of(paper) for paper in known.documents_for(task)]
    return [*dict.fromkeys([*filter(None, roles), kind_of(task.work_type).crew])]


def _decide_by(
    known: Known, task: Task, judged: Judged, call: Call, measures: Sequence[MeasureLine]
) -> Iterable[DecideBy]:
    found: list[Deadline] = of_task(known, task, judged.trial.start)
    found += of_measures(known, [m.measure for m in measures])
    seen: dict[datetime, DecideBy] = {}
    for deadline in sorted(found, key=lambda d: d.at):
        seen.setdefault(deadline.at, DecideBy(deadline.at, deadline.why))
    kept = kind_of(task.work_type).form in {Form.STANDING, Form.PROTECTION}
    if kept and call in {Call.PREPARE, Call.GO_WITH_PROTECTION}:
        sunset = dusk(known, known.now)
        if sunset is not None:
            seen.setdefault(sunset, DecideBy(sunset, "daylight ends"))
    yield from sorted(seen.values(), key=lambda d: d.at)


def _option(known: Known, judged: Judged) -> OptionLine:
    rulings = gravest_first(judged.rulings)
    task = judged.trial.task
    start = known.local_day(judged.trial.start) if task.days else judged.trial.start
    return OptionLine(
        start=start,
        outcome=judged.outcome,
        measures=_merged(known, judged, rulings),
        limits=tuple(r.limit for r in rulings if r.limit is not None),
    )


def _numbers(judged: Judged, chosen: Chosen, rulings: Sequence[Ruling]) -> Iterable[NumberLine]:
    """Return every number once, the ones that decide first."""
    trial = judged.trial
    found: list[NumberLine] = []
    for ruling in rulings:
        number = None if ruling.limit is None else number_of(ruling.limit)
        found += [] if number is None else [number]
        found += ruling.numbers
    found += extremes(trial, rulings)
    looked = {q: u for q, u in bearing(rulings).items() if q != "precipitation_amount"}
    moments = [trial.known.now, trial.start]
    if chosen.next_start is not None:
        moments.append(chosen.next_start)
    found += at_moments(trial, looked, dict.fromkeys(moments))
    found += _chosen_times(chosen)
    kept: dict[tuple[object, ...], NumberLine] = {}
    for number in found:
        kept.setdefault(_key(number), number)
    yield from kept.values()


def _chosen_times(chosen: Chosen) -> list[NumberLine]:
    if not chosen.options:
        return []
    span = chosen.judged.trial.span
    return [
        NumberLine("work_start", "first_time", span.start, "time"),
        NumberLine("work_end", "last_time", span.end, "time"),
    ]


def _key(number: NumberLine) -> tuple[object, ...]:
    window = None if number.window is None else (number.window.start, number.window.end)
    return (number.quantity, number.taken_as, window, number.at, number.place, number.what_if)


def _reason(call: Call, rulings: Sequence[Ruling]) -> str:
    decisive = next((r for r in rulings if r.limit is not None), None)
    if decisive is None or decisive.limit is None:
        return call.value.replace("_", " ")
    limit = decisive.limit
    value = limit.value if limit.value is not None else "not known"
    shown = f"{value:.1f}" if isinstance(value, float) else str(value)
    return f"{limit.quantity} {shown} {limit.unit}: {limit.outcome.value.replace('_', ' ')}"


def trimmed(answers: Sequence[TaskAnswer]) -> tuple[TaskAnswer, ...]:
    """Return answers with at most forty numbers in all, each task keeping its first ones."""
    left = {i: len(a.numbers) for i, a in enumerate(answers)}
    while sum(left.values()) > MOST_NUMBERS:
        longest = max(left, key=lambda i: left[i])
        left[longest] -= 1
    return tuple(replace(a, numbers=a.numbers[: left[i]]) for i, a in enumerate(answers))
