"""What is done before everybody goes home: tonight's and the days off's safe-leave list.

What stands open is taken from the job and the log, the hours nobody is there from the calendar,
and each line from a row of the book over just those hours. Weather that is not known asks for
everything the row's gravest band asks for: not known is no reason to leave it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

import numpy as np

from rules.book import Book, measures
from rules.book_rows import Row
from rules.kinds import Form, kind_of
from rules.leaving import LeftStanding, left_standing, protects, verb_of
from scheduler.planning.evidence.facts import evidence
from scheduler.planning.evidence.known import Known, View
from scheduler.planning.evidence.observed_then_forecast import last_hour
from scheduler.planning.evidence.shifts import shift_span
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import (
    Call,
    CautionLine,
    CheckLine,
    LimitLine,
    MeasureLine,
    Outcome,
    Span,
    TaskAnswer,
)
from scheduler.planning.model.envelope import is_there, open_names
from scheduler.planning.model.free_time import Away
from scheduler.planning.model.job import OnCall, State, Task
from scheduler.planning.rulings.asks import asked
from scheduler.planning.rulings.chances import with_site_record
from scheduler.planning.rulings.quantities import hourly, is_hourly
from scheduler.planning.rulings.rows import ruling, span_over
from scheduler.planning.rulings.ruling import GRAVITY, Ruling

ORDER: Final = ("drain", "cover", "brace", "heat", "tie_down", "keep_out", "look")
GOES: Final = frozenset({Call.GO, Call.GO_WITH_PROTECTION})


@dataclass(frozen=True, slots=True)
class LeaveLine:
    """One thing to do before leaving, and the rule, value and hour that ask for it."""

    do: str  # cover, brace, drain, heat, tie_down, keep_out, look
    what: str  # the measure
    of: str  # what is left: house on cribs, open openings, a task
    start: datetime | None
    end: datetime | None
    on_hand: bool
    known: bool  # False: the weather that decides is not known, so it is done
    limit: LimitLine | None
    why: str = ""  # what the row looks at
    source: str = ""  # of the row, with its clause
    or_else: tuple[str, ...] = ()  # measures of which one is enough
    only_if: str = ""  # a task that must have been done first


@dataclass(frozen=True, slots=True)
class Leave:
    """The hours nobody is there, and what is done before them."""

    away: Away
    left: tuple[str, ...]  # what stands open: house on cribs, the parts of the envelope, ...
    lines: tuple[LeaveLine, ...]
    fine: tuple[LimitLine, ...]  # limits that were looked at and ask for nothing
    checks: tuple[CheckLine, ...]
    cautions: tuple[CautionLine, ...]
    on_call: tuple[OnCall, ...]  # (): nobody is named


def leave_list(
    seen: Known, away: Away, *, book: Book, answers: Sequence[TaskAnswer] = ()
) -> Leave:
    """Return what is done before the hours that nobody is on site.

    Parameters
    ----------
    seen : Known
        What is known at the moment of asking.
    away : Away
        From when until when nobody is there.
    book : Book
        The job's rule book.
    answers : sequence of TaskAnswer
        Today's answers; measures of finished work, and of work that may be done before leaving,
        that reach into those hours are taken from them.
    """
    here = with_site_record(replace(seen, now=max(away.start, seen.now), before=None))
    left = [thing for thing in left_standing() if is_there(thing, seen.job, seen.standing)]
    half = half_done(seen)
    here = _as_left(here, half, away)
    found = [one for thing in left for one in _judged(thing, here, away, book)]
    found += [one for task in half for one in _half(task, here, away, book)]
    lines = [line for thing, one in found for line in _lines(thing, one)]
    lines += [line for answer in answers for line in _kept(answer, seen, away, book)]
    rulings = [one.ruling for _, one in found]
    kept = [a for a in answers if _is_done(a, seen) and any(_kept(a, seen, away, book))]
    return Leave(
        away=away,
        left=(
            *(t.says for t in left if not t.parts),
            *open_names(seen.job, seen.standing),
            *(f"{task.name}, half done" for task in half),
        ),
        lines=tuple(_once(lines)),
        fine=tuple(r.limit for r in rulings if r.outcome is Outcome.GO and r.limit is not None),
        checks=_first(
            [c for r in rulings for c in r.checks] + [c for a in kept for c in a.checks],
        ),
        cautions=_cautions(rulings, kept, lines),
        on_call=tuple(
            one
            for one in seen.job.on_call
            if not one.weekdays or away.start.astimezone(seen.zone).weekday() in one.weekdays
        ),
    )


# what is left


def half_done(seen: Known) -> list[Task]:
    """Return the work that was begun and is not finished."""
    return [
        task
        for task in seen.job.tasks
        if seen.standing[task.id].state is State.UNDER_WAY
        and kind_of(task.work_type).form is Form.WORK
    ]


def _as_left(here: Known, half: Sequence[Task], away: Away) -> Known:
    """Return what is known with half-done work as young as it is when people leave it."""
    names = {task.id for task in half}
    tasks = tuple(
        replace(task, finished_at=away.start) if task.id in names else task
        for task in here.job.tasks
    )
    job = replace(here.job, tasks=tasks)
    ends = {name: replace(here.standing[name], finished=away.start) for name in names}
    standing = {**here.standing, **ends}
    told = evidence(job, here.entries, standing, here.now)
    return replace(here, job=job, standing=standing, evidence=told, made={})


def _half(task: Task, here: Known, away: Away, book: Book) -> Iterator[tuple[LeftStanding, _Said]]:
    """Yield what the rows that keep finished work say of work that was left half done.

    What was done today counts as placed from the shift's beginning until people leave.
    """
    shift = shift_span(here, task, here.local_day(away.start))
    begun = here.standing[task.id].started or away.start
    begun = begun if shift is None else max(begun, shift.start)
    thing = LeftStanding(task.id, task.name, task.work_type, (), at_leaving=True)
    own = here.job.task(task.id)
    for row in book.rows_for(task.work_type):
        if not protects(row):
            continue
        span = Span(min(begun, away.start), away.start)
        trials = [Trial(here.seen_as(view), own, span) for view in _views(here)]
        told = [one for t in trials if (one := _said(t, row, away, thing)) is not None]
        if told:
            yield thing, max(told, key=lambda one: (not one.known, GRAVITY[one.ruling.outcome]))


# rows over the hours that nobody is there


@dataclass(frozen=True, slots=True)
class _Said:
    """A row's word on what is left, and whether it saw the weather it asks about."""

    row: Row
    ruling: Ruling
    known: bool


def _judged(
    thing: LeftStanding, here: Known, away: Away, book: Book
) -> Iterator[tuple[LeftStanding, _Said]]:
    span = Span(away.start, away.start if thing.at_leaving else away.end)
    task = Task(thing.name, thing.says, thing.judged_as, away.hours, beside=thing.beside)
    for row in book.rows_for(thing.judged_as):
        if not row.id.startswith(thing.rows):
            continue
        trials = [Trial(here.seen_as(view), task, span) for view in _views(here)]
        told = [one for t in trials if (one := _said(t, row, away, thing)) is not None]
        if told:
            yield thing, max(told, key=lambda one: (not one.known, GRAVITY[one.ruling.outcome]))


def _views(known: Known) -> tuple[View, ...]:
    """Return the forecast, and the forecast moved by what the site's own record taught."""
    return (known.view, *(view for view in known.others if view.source == known.view.source))


def _said(trial: Trial, row: Row, away: Away, thing: LeftStanding) -> _Said | None:
    known = trial.known
    if not thing.at_leaving:
        known = known.seen_as(_until(known.view, away.end))
    trial = replace(trial, known=known)
    found = ruling(trial, row)
    if found is None:
        return None
    if not (is_hourly(row.quantity) and not row.on_site) or row.only_advises:
        return _Said(row, found, known=found.outcome is not Outcome.NOT_KNOWN)
    if _weather_seen(trial, row, away) and found.outcome is not Outcome.NOT_KNOWN:
        return _Said(row, found, known=True)
    return _Said(row, _gravest(trial, row, found), known=False)


def _until(view: View, end: datetime) -> View:
    """Return a view whose hours reach to just that moment: NaN where its columns end before."""
    last = last_hour(end)
    hours = {
        name: replace(series, values=series.hours(series.first, last), end=last)
        for name, series in view.hours.items()
    }
    return replace(view, hours=hours)


def _weather_seen(trial: Trial, row: Row, away: Away) -> bool:
    """Tell whether every hour a row looks at has its weather, its own or a full substitute's."""
    if trial.known.view.stale:
        return False
    span = trial.span if row.taken_as == "value" else span_over(trial, row)
    if span is None:
        return False
    span = Span(span.start, min(span.end, away.end) if span.start < away.end else span.end)
    if span.end <= span.start:
        return True
    names = [(row.quantity, row.unit)]
    names += [(s.quantity, s.unit or row.unit) for s in row.substitutes if s.while_below is None]
    found = (hourly(trial, name, unit, span, given=row.given) for name, unit in names)
    return any(values is not None and bool(np.isfinite(values).all()) for values in found)


def _gravest(trial: Trial, row: Row, found: Ruling) -> Ruling:
    """Return a ruling that asks for what the row's gravest band asks for."""
    band = max(row.bands, key=lambda b: (b.outcome, len(b.measures)), default=None)
    made = asked(trial, row, band, Outcome.NOT_KNOWN, found.limit)
    limit = None if found.limit is None else replace(found.limit, outcome=Outcome.NOT_KNOWN)
    if limit is None:
        span = span_over(trial, row)
        limit = LimitLine(
            row.id, row.name, row.taken_as, None, row.unit, Outcome.NOT_KNOWN, span,
            source=row.source, clause=row.clause, verify=row.verify,
        )  # fmt: skip
    return replace(made, limit=limit)


def _lines(thing: LeftStanding, said: _Said) -> Iterator[LeaveLine]:
    idle = said.known and said.ruling.outcome is Outcome.GO
    always = {name for need in said.row.measures for name in need.measure}
    named: set[str] = set()
    for line in said.ruling.measures:
        if line.measure in named or (idle and line.measure not in always):
            continue
        others = _instead(said.row, line.measure, said.ruling.measures)
        named |= {line.measure, *others}
        limit = None if idle else said.ruling.limit
        made = _line(line, thing.says, limit, said.row, known=said.known)
        yield replace(made, or_else=others)


def _instead(row: Row, measure: str, asked_for: Sequence[MeasureLine]) -> tuple[str, ...]:
    """Return the other measures asked for of which one is enough."""
    named = {line.measure for line in asked_for}
    needs = [need for part in (row, *row.bands) for need in part.measures]
    group = next((n.measure for n in needs if measure in n.measure and len(n.measure) > 1), ())
    return tuple(name for name in group if name != measure and name in named)


def _line(
    line: MeasureLine,
    of: str,
    limit: LimitLine | None,
    row: Row | None,
    *,
    known: bool,
    only_if: str = "",
) -> LeaveLine:
    book = measures()
    at_hand = line.measure in book and book[line.measure].kind == "working"
    return LeaveLine(
        do=verb_of(line.measure),
        what=line.measure,
        of=of,
        start=line.start,
        end=line.end,
        on_hand=line.on_hand or at_hand,
        known=known,
        limit=limit,
        why="" if row is None else row.says,
        source=line.rule if row is None else f"{row.source} {row.clause}",
        only_if=only_if,
    )


# measures of today's answers that reach into the hours


def _is_done(answer: TaskAnswer, seen: Known) -> bool:
    standing = seen.standing.get(answer.task)
    return standing is not None and standing.state is State.DONE


def _kept(answer: TaskAnswer, seen: Known, away: Away, book: Book) -> Iterator[LeaveLine]:
    """Yield what keeps finished work, or work that may be done before, through those hours."""
    if answer.window is None or answer.waits_for:
        return
    done = _is_done(answer, seen)
    if not done and not (answer.call in GOES and answer.window.start < away.start):
        return
    name = next((t.name for t in seen.job.tasks if t.id == answer.task), answer.task)
    limits = {limit.rule: limit for limit in answer.limits}
    rows = {row.id: row for row in book.rows_for(answer.work_type)}
    known = answer.outcome is not Outcome.NOT_KNOWN
    for line in answer.measures:
        over = line.end is not None and line.end <= away.start
        if over or (line.start is not None and line.start >= away.end):
            continue
        yield _line(
            line, name, limits.get(line.rule), rows.get(line.rule), known=known,
            only_if="" if done else name,
        )  # fmt: skip
    if done and not known and not answer.measures:
        unknown = next((x for x in answer.limits if x.outcome is Outcome.NOT_KNOWN), None)
        row = None if unknown is None else rows.get(unknown.rule)
        keep = MeasureLine("keep_cover_on", away.start, away.end, "")
        yield _line(keep, name, unknown, row, known=False)


# lines said once


def _once(lines: Iterable[LeaveLine]) -> list[LeaveLine]:
    """Return each measure of each thing once: not known first, then the earliest and longest."""
    kept: dict[tuple[str, frozenset[str]], LeaveLine] = {}
    for line in sorted(lines, key=lambda one: one.known):
        key = (line.of, frozenset((line.what, *line.or_else)))
        old = kept.get(key)
        if old is None:
            kept[key] = line
        elif line.end is not None and (old.end is None or line.end > old.end):
            kept[key] = replace(old, end=line.end)
    return sorted(kept.values(), key=lambda line: ORDER.index(line.do))


def _first(checks: Iterable[CheckLine]) -> tuple[CheckLine, ...]:
    return tuple({line.check: line for line in reversed(list(checks))}.values())[::-1]


def _cautions(
    rulings: Iterable[Ruling], kept: Iterable[TaskAnswer], lines: Iterable[LeaveLine]
) -> tuple[CautionLine, ...]:
    """Return how people can be hurt by what is left and by what is done, each once."""
    found = [c for r in rulings if r.outcome is not Outcome.GO for c in r.cautions]
    found += [c for a in kept for c in a.cautions]
    book = measures()
    found += [
        CautionLine(name, line.what.replace("_", " "))
        for line in lines
        if line.what in book
        for name in book[line.what].cautions
    ]
    return tuple({line.caution: line for line in reversed(found)}.values())[::-1]
