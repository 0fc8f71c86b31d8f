"""One answer put together: the call, and every line that people need to act on it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final, TypeVar

from rules.book import Book
from rules.book_rows import Row
from rules.brought import gravest_first as gravest_cautions
from rules.kinds import Form, kind_of
from rules.shown import shown
from scheduler.planning.calls.brought import of_this_day
from scheduler.planning.calls.call import call_of
from scheduler.planning.calls.cautions import Remarks, remarks
from scheduler.planning.calls.choice import choose
from scheduler.planning.calls.commitments import kept_trial, prolonged, protection_rulings
from scheduler.planning.calls.forecast_changes import changes
from scheduler.planning.calls.judging import judge
from scheduler.planning.calls.links import orders_of
from scheduler.planning.calls.now import as_of_now, called_now, why_later
from scheduler.planning.calls.strength import FREEZES, protect_until
from scheduler.planning.evidence.deadlines import of_measures, of_task, role_of
from scheduler.planning.evidence.known import Known
from scheduler.planning.evidence.shifts import piece_end
from scheduler.planning.evidence.times import dusk, forecast_end
from scheduler.planning.model.answer import (
    Call,
    CautionLine,
    DecideBy,
    LimitLine,
    MeasureLine,
    OptionLine,
    Outcome,
    Span,
    TaskAnswer,
    TellLine,
)
from scheduler.planning.model.job import Task, WhatIf
from scheduler.planning.rulings.numbers import told_numbers
from scheduler.planning.rulings.ruling import GRAVITY, Chosen, Judged, Ruling, gravest_first

MOST_LINES: Final = 15  # of measures, checks and cautions for one task: more is no answer
MOST_NUMBERS: Final = 40  # of one answer, all tasks together
TELL_BEFORE: Final = timedelta(hours=12)  # people hear the evening before; common practice
Line = TypeVar("Line")


def answer_for(
    known: Known, task: Task, rows: Sequence[Row], book: Book, *, done: bool
) -> TaskAnswer | None:
    """Return the answer for one task; None for finished work to which nothing is owed."""
    if done:
        kept = kept_trial(known, task, rows)
        if kept is None:
            return None
        trial, owed = kept
        judged = judge(trial, rows, book)
        if owed is not None:
            own = protection_rulings(known, owed)
            judged = replace(judged, rulings=(*prolonged(judged.rulings, owed), *own))
        chosen = Chosen(judged)
    else:
        chosen = as_of_now(known, task, rows, book, choose(known, task, rows, book))
    moved = changes(chosen.judged.trial, rows, chosen.judged.rulings)
    whole = of_this_day(replace(chosen.judged, rulings=(*chosen.judged.rulings, *moved)))
    return _written(replace(chosen, judged=whole), rows, book)


def _written(chosen: Chosen, rows: Sequence[Row], book: Book) -> TaskAnswer:
    judged, later = chosen.judged, chosen.next_start
    trial = judged.trial
    known, task = trial.known, trial.task
    call = call_of(known, task, judged, later if judged.refusals else None)
    if chosen.helped is not None and call is not Call.STOP:
        call = Call.PREPARE
    call = called_now(known, task, chosen, call)
    rulings = gravest_first(judged.rulings)
    asked = merged(known, judged, rulings) if chosen.later is None else _for_later(chosen)
    measures = (*_supposed_measures(chosen), *asked)[:MOST_LINES]
    by_book = merged(known, judged, [r for r in rulings if r.rule != FREEZES])
    told = _with_remarks(rulings, remarks(judged, rows, measures))
    answer = TaskAnswer(
        task=task.id,
        work_type=task.work_type,
        call=call,
        outcome=judged.outcome,
        window=trial.span,
        measures=measures,
        checks=_first(_conditions_first(told), lambda r: r.checks, lambda c: c.check),
        limits=_limits(known, [*rulings, *_supposed_rulings(chosen)]),
        holds=_first(rulings, lambda r: r.holds, lambda h: h.by),
        tell=_tells(judged, call, rulings),
        decide_by=tuple(_decide_by(chosen.later or judged, call, measures)),
        next_window=None if later is None else Span(later, piece_end(known, task, later)),
        options=tuple(_option(chosen, option) for option in chosen.options),
        order=orders_of(trial, book),
        cautions=_cautions(told),
        numbers=(*told_numbers(chosen, told), *protect_until(task, by_book)),
        reason=_reason(known, call, rulings),
    )
    return replace(answer, reason=why_later(known, task, answer))


def _for_later(chosen: Chosen) -> tuple[MeasureLine, ...]:
    """Return what a later start asks for, and what is missing for one in the coming shift."""
    judged, later = chosen.judged, chosen.later or chosen.judged
    known = judged.trial.known
    then = merged(known, later, gravest_first(later.rulings))
    named = {line.measure for line in then}
    kept = [r for r in judged.refusals if r.call != "stop"]
    now = merged(known, judged, kept)
    return (*then, *(m for m in now if m.measure not in named and not m.on_hand))


def _limits(known: Known, rulings: Sequence[Ruling]) -> tuple[LimitLine, ...]:
    """Return the limits, gravest first; of hours past the forecast's end one stands for all."""
    end = forecast_end(known)
    kept, beyond = [], False
    for limit in (r.limit for r in rulings if r.limit is not None):
        begins = limit.window.start if limit.window is not None else limit.at
        late = end is not None and begins is not None and begins >= end
        if limit.value is None and limit.outcome is Outcome.NOT_KNOWN and late:
            if beyond:
                continue
            beyond = True
        kept.append(limit)
    return tuple(kept)


def _with_remarks(rulings: Sequence[Ruling], said: Remarks) -> list[Ruling]:
    """Return rulings with what the answer says of itself behind those that decide."""
    decide = [r for r in rulings if r.outcome is not Outcome.GO]
    rest = [r for r in rulings if r.outcome is Outcome.GO]
    own = Ruling("", Outcome.GO, checks=said.checks, cautions=said.cautions, numbers=said.numbers)
    return [*decide, own, *rest]


def _conditions_first(rulings: Sequence[Ruling]) -> list[Ruling]:
    """Return rulings behind one that asks for what has to be seen before a go holds."""
    seen = tuple(check for ruling in rulings for check in ruling.conditions)
    return [Ruling("", Outcome.GO, checks=seen), *rulings]


def _first(
    rulings: Iterable[Ruling],
    lines: Callable[[Ruling], Sequence[Line]],
    key: Callable[[Line], str],
) -> tuple[Line, ...]:
    """Return the first line of each kind, gravest rulings first."""
    kept: dict[str, Line] = {}
    for ruling in rulings:
        for line in lines(ruling):
            kept.setdefault(key(line), line)
    return tuple(kept.values())[:MOST_LINES]


def _cautions(rulings: Sequence[Ruling]) -> tuple[CautionLine, ...]:
    """Return each caution once: what hurts people first, then by what decides."""
    found = {c.caution: c for c in _first(rulings, lambda r: r.cautions, lambda c: c.caution)}
    return tuple(found[name] for name in gravest_cautions(found))


# measures


def merged(known: Known, judged: Judged, rulings: Iterable[Ruling]) -> tuple[MeasureLine, ...]:
    """Return one line a measure: the earliest start, the latest end.

    What keeps finished work is wanted from now on; what is over is left out.
    """
    kept: dict[str, MeasureLine] = {}
    begun = judged.trial.end <= known.now
    for ruling in rulings:
        for line in ruling.measures:
            if line.end is not None and line.end < known.now:
                continue
            late = begun and line.start is not None and line.start < known.now
            fresh = replace(line, start=known.now) if late else line
            old = kept.get(line.measure)
            kept[line.measure] = fresh if old is None else _joined(old, fresh)
    return tuple(kept.values())


def _joined(one: MeasureLine, other: MeasureLine) -> MeasureLine:
    starts = [s for s in (one.start, other.start) if s is not None]
    later = other if _ends_later(other, one) else one
    return replace(later, start=min(starts) if starts else None)


def _ends_later(one: MeasureLine, other: MeasureLine) -> bool:
    """Tell whether one ends later; what ends with no hour of the clock ends last."""
    if one.end is None or other.end is None:
        return one.end is None and other.end is not None
    return one.end > other.end


def _supposed_measures(chosen: Chosen) -> tuple[MeasureLine, ...]:
    """Return the supposed measure that saves an offer, as something to do."""
    helped = chosen.helped
    if helped is None or helped.trial.what_if is None:
        return ()
    return (_of_what_if(helped.trial.known, helped.trial.what_if, helped.trial.start),)


def _of_what_if(known: Known, what_if: WhatIf, until: datetime) -> MeasureLine:
    return MeasureLine(
        measure=what_if.measure,
        start=what_if.start or known.now,
        end=until,
        rule=f"what_if:{what_if.id}",
        on_hand=what_if.measure in known.job.on_hand,
    )


def _supposed_rulings(chosen: Chosen) -> list[Ruling]:
    """Return what papers say under a supposed measure, of the trial that was chosen or saved."""
    starts = {chosen.judged.trial.start}
    if chosen.helped is not None:
        starts.add(chosen.helped.trial.start)
    return [
        ruling
        for judged in chosen.supposed
        if judged.trial.start in starts
        for ruling in judged.rulings
        if ruling.limit is not None and ruling.limit.what_if
    ]


# whom to tell, by when to decide


def _tells(judged: Judged, call: Call, rulings: Iterable[Ruling]) -> tuple[TellLine, ...]:
    """Return whom to tell what, each word once, by the earliest of its times."""
    kept: dict[tuple[str, str], TellLine] = {}
    for line in _all_tells(judged, call, list(rulings)):
        key = (line.whom, line.what)
        old = kept.get(key)
        if old is None or (line.by is not None and (old.by is None or line.by < old.by)):
            kept[key] = line
    return tuple(kept.values())


def _all_tells(judged: Judged, call: Call, rulings: Sequence[Ruling]) -> Iterable[TellLine]:
    known, task = judged.trial.known, judged.trial.task
    for ruling in rulings:
        yield from ruling.tells
    refused = call in {Call.HOLD, Call.STOP} or (call is Call.WAIT and bool(judged.refusals))
    moves = not known.view.stale and any(r.outcome is Outcome.NO_GO for r in judged.refusals)
    word = "the booking moves" if moves else "not sure yet; confirm or let go by then"
    cut_offs = of_task(known, task, judged.trial.start)
    for deadline in cut_offs:
        if deadline.role:
            late = deadline.at < known.now
            ask = f"{deadline.why} has passed: ask whether it still stands"
            what = word if refused else ask if late else f"confirm: {deadline.why}"
            yield TellLine(deadline.role, what, max(deadline.at, known.now))
    told = {deadline.role for deadline in cut_offs}
    changed = "forecast_changed" in {c.caution for r in rulings for c in r.cautions}
    if refused and (task.booked or task.offered or task.slots):
        by = max(known.now, judged.trial.start - TELL_BEFORE)
        for role in _roles(known, task):
            if role not in told:
                yield TellLine(role, word, by)
    elif changed:
        for role in dict.fromkeys([*_roles(known, task), "crew"]):
            yield TellLine(role, "the forecast changed: one action, see measures", known.now)


def _roles(known: Known, task: Task) -> list[str]:
    roles = [role_of(paper) for paper in known.documents_for(task)]
    return [*dict.fromkeys([*filter(None, roles), kind_of(task.work_type).crew])]


def _decide_by(judged: Judged, call: Call, measures: Sequence[MeasureLine]) -> Iterable[DecideBy]:
    known, task = judged.trial.known, judged.trial.task
    found = of_task(known, task, judged.trial.start)
    found += of_measures(known, [m.measure for m in measures])
    seen: dict[datetime, DecideBy] = {}
    for deadline in sorted(found, key=lambda d: d.at):
        seen.setdefault(deadline.at, DecideBy(deadline.at, deadline.why))
    for at, why in _of_offers(known, measures):
        seen.setdefault(at, DecideBy(at, why))
    kept = kind_of(task.work_type).form in {Form.STANDING, Form.PROTECTION}
    sunset = dusk(known, known.now)
    if kept and call in {Call.PREPARE, Call.GO_WITH_PROTECTION} and sunset is not None:
        seen.setdefault(sunset, DecideBy(sunset, "daylight ends"))
    yield from sorted(seen.values(), key=lambda d: d.at)


def _of_offers(known: Known, measures: Sequence[MeasureLine]) -> Iterable[tuple[datetime, str]]:
    """Return by when a measure that can be had must be asked for, to be there in time."""
    notice = {offer.measure: offer for offer in known.job.can_be_had}
    for line in measures:
        offer = notice.get(line.measure)
        if offer is not None and not line.on_hand and line.start is not None:
            at = line.start - timedelta(hours=offer.notice_h)
            if at >= known.now or line.start > known.now:
                yield at, f"{line.measure.replace('_', ' ')} wants {offer.notice_h:g} h notice"


# offers


def _option(chosen: Chosen, judged: Judged) -> OptionLine:
    known, task = judged.trial.known, judged.trial.task
    rulings = gravest_first(judged.rulings)
    supposed = [o for o in chosen.supposed if o.trial.start == judged.trial.start]
    extra = [r for o in supposed for r in o.rulings if r.limit is not None and r.limit.what_if]
    outcome, measures = judged.outcome, merged(known, judged, rulings)
    saved = next((o for o in supposed if not o.refusals), None) if judged.refusals else None
    if saved is not None and saved.trial.what_if is not None and _worth(saved.trial.what_if):
        outcome = max(saved.outcome, Outcome.GO_WITH_PROTECTION, key=GRAVITY.__getitem__)
        measures = (_of_what_if(known, saved.trial.what_if, judged.trial.start), *measures)
    start = known.local_day(judged.trial.start) if task.days else judged.trial.start
    return OptionLine(
        start=start,
        outcome=outcome,
        measures=measures,
        limits=tuple(r.limit for r in (*rulings, *extra) if r.limit is not None),
    )


def _worth(what_if: WhatIf) -> bool:
    return what_if.cost_below_waiting is not False


def _reason(known: Known, call: Call, rulings: Sequence[Ruling]) -> str:
    """Return one line for a person: what decides, its value and its hour."""
    decisive = next((r for r in rulings if r.limit is not None), None)
    if decisive is None or decisive.limit is None or decisive.outcome is Outcome.GO:
        return call.value.replace("_", " ")
    limit = decisive.limit
    name = limit.quantity.replace("_", " ").replace(".", ": ")
    at = limit.at
    when = "" if at is None else f", {at.astimezone(known.zone):%a %-d %b %H:%M}"
    if limit.unit == "time":
        return f"{name}{when}"
    told = f"{name} {shown(limit.value, limit.unit, known.job.units)}{when}"
    return f"{_needs(known, decisive.lacks[0])}: {told}" if decisive.lacks else told


def _needs(known: Known, line: MeasureLine) -> str:
    by = "" if line.start is None else f" by {line.start.astimezone(known.zone):%a %-d %b %H:%M}"
    return f"needs {line.measure.replace('_', ' ')}{by}, {line.text}"


def trimmed(answers: Sequence[TaskAnswer]) -> tuple[TaskAnswer, ...]:
    """Return answers with at most forty numbers in all, each task keeping its first ones."""
    left = {i: len(a.numbers) for i, a in enumerate(answers)}
    while sum(left.values()) > MOST_NUMBERS:
        longest = max(left, key=lambda i: left[i])
        left[longest] -= 1
    return tuple(replace(a, numbers=a.numbers[: left[i]]) for i, a in enumerate(answers))
