"""Finished work inside its protection period, and what may not be taken away from it.

A period is counted from completion. Where the work itself fell past its limit inside the period,
it is counted again from recovery, provisionally, until the engineer rules (common practice, no
source).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from rules.book import Book, Row
from rules.kinds import Form, kind_of
from rules.leaving import protects
from rules.units import convert
from scheduler.planning.evidence.ages import finished, is_done, near, since, started
from scheduler.planning.evidence.known import Known, reading_time
from scheduler.planning.evidence.places import concerns, spot
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import (
    CautionLine,
    HoldLine,
    LimitLine,
    MeasureLine,
    NumberLine,
    Outcome,
    Span,
    TellLine,
)
from scheduler.planning.model.job import Task
from scheduler.planning.model.log import Reading
from scheduler.planning.rulings.asks import band_of
from scheduler.planning.rulings.rows import ruling
from scheduler.planning.rulings.ruling import Ruling, hours_between

ELEMENT_TEMPERATURES: Final = (
    "masonry_temperature", "grout_temperature", "concrete_temperature", "surface_temperature",
)  # fmt: skip


BEARS_ON: Final = ("age_of_wall", "age_of_grout", "age_of_masonry")
FAR_ABOVE: Final = 1e6  # a temperature that no limit on the cold side refuses


@dataclass(frozen=True, slots=True)
class Commitment:
    """Finished work that is still to be kept, until when, and the rule that says so."""

    task: Task
    finished: datetime
    until: datetime
    rule: str
    longer: timedelta = timedelta(0)  # by how much it was moved on
    broken: Reading | None = None  # the reading at which the work fell past its limit
    recovered: datetime | None = None  # from when the period is counted again


def done_span(known: Known, task: Task) -> Span | None:
    """Return the hours in which finished work was done; None where it is not finished.

    Where a task that keeps work does not say when that was finished, the site's facts do, and
    else its own beginning.
    """
    end = finished(known, task)
    if end is None and kind_of(task.work_type).form is Form.PROTECTION:
        end = _finished_by_facts(known, task) or task.booked
    if end is None:
        return None
    begun = started(known, task)
    return Span(begun or end - timedelta(hours=task.duration_h), end)


def _finished_by_facts(known: Known, task: Task) -> datetime | None:
    ages: tuple[str, ...] = ("age_of_grout", "age_of_masonry", "age_of_concrete")
    if task.work_type == "protect_concrete":
        ages = ("age_of_concrete",)
    elif task.element.get("grouted") is False:
        ages = ("age_of_masonry",)
    return next((s for age in ages if (s := since(known, age, task)) is not None), None)


def is_kept(known: Known, task: Task) -> bool:
    """Tell whether a task is finished work: done, or a task that only keeps work."""
    if is_done(known, task):
        return True
    keeps = kind_of(task.work_type).form is Form.PROTECTION
    span = done_span(known, task) if keeps else None
    return span is not None and span.end <= known.now


def kept_trial(
    known: Known, task: Task, rows: Sequence[Row]
) -> tuple[Trial, Commitment | None] | None:
    """Return the trial of finished work and what is owed to it; None where nothing is.

    Work that would freeze in the hours to come is answered for, whatever the book's hours say.
    """
    span = done_span(known, task)
    if span is None:
        return None
    owed = commitment(known, task, rows)
    keeps = kind_of(task.work_type).form is Form.PROTECTION or _is_threatened(known, task)
    return (Trial(known, task, span), owed) if owed is not None or keeps else None


def _is_threatened(known: Known, task: Task) -> bool:
    standing = None if known.strength is None else known.strength.standing(task)
    return standing is not None and standing.threatened


def commitment(known: Known, task: Task, rows: Iterable[Row]) -> Commitment | None:
    """Return what is owed to finished work; None where nothing is any more."""
    span = done_span(known, task)
    if span is None:
        return None
    trial = Trial(known, task, span)
    owed = [end for row in rows for end in _ends(trial, row)]
    if not owed:
        return None
    until, rule = max(owed)
    fell = breach(trial, rows)
    recovered = None if fell is None else fell.recovered
    broken = None if fell is None else fell.first
    longer = timedelta(0) if recovered is None else recovered - span.end
    if until + longer <= known.now:
        return None
    return Commitment(task, span.end, until + longer, rule, longer, broken, recovered)


def prolonged(rulings: Iterable[Ruling], found: Commitment) -> list[Ruling]:
    """Return rulings whose measures after the work last as much longer as the period."""
    return [
        replace(
            ruling_,
            measures=tuple(
                replace(line, end=line.end + found.longer)
                if line.end is not None and line.end > found.finished
                else line
                for line in ruling_.measures
            ),
        )
        for ruling_ in rulings
    ]


def _ends(trial: Trial, row: Row) -> Iterable[tuple[datetime, str]]:
    """Return until when a row's band that holds asks for measures after completion."""
    found = ruling(trial, row)
    if found is None:
        return
    for line in found.measures:
        # What only begins when the period ends, such as slow cooling, is no part of it.
        late = line.start is not None and line.start > trial.end
        if line.end is not None and line.end > trial.end and not late:
            yield line.end, row.id


@dataclass(frozen=True, slots=True)
class Breach:
    """Readings at which finished work was past the limit of a row that keeps it."""

    row: Row
    first: Reading
    gravest: Reading
    recovered: datetime  # when a later reading of the place was within the limit again, else now


def breach(trial: Trial, rows: Iterable[Row]) -> Breach | None:
    """Return how the work itself fell past its limit, None where no reading says so."""
    found = [b for row in rows if (b := _breach_of(trial, row)) is not None]
    return min(found, key=lambda b: reading_time(b.first) or trial.end, default=None)


def _breach_of(trial: Trial, row: Row) -> Breach | None:
    if row.quantity not in ELEMENT_TEMPERATURES:
        return None
    read = [
        (at, reading)
        for reading in trial.known.past_readings(row.quantity)
        if (at := reading_time(reading)) is not None and at >= trial.end
    ]
    bad = [(at, reading) for at, reading in read if _is_past(row, reading)]
    if not bad:
        return None
    last, worst_place = max(bad, key=lambda pair: pair[0])
    again = [
        at
        for at, reading in read
        if at > last
        and spot(reading.place) == spot(worst_place.place)
        and not _is_past(row, reading)
    ]
    gravest = min((r for _, r in bad), key=lambda r: _in_unit(r, row))
    first = min(bad, key=lambda pair: pair[0])[1]
    return Breach(row, first, gravest, min(again, default=trial.known.now))


def _in_unit(reading: Reading, row: Row) -> float:
    return float(convert(float(reading.value), reading.unit, row.unit))


def _is_past(row: Row, reading: Reading) -> bool:
    """Tell whether a reading is past a row's limit: where a band holds, such a band."""
    band = band_of(row, _in_unit(reading, row))
    if any(b.holds for b in row.bands):
        return bool(band.holds)
    return band.outcome > band_of(row, FAR_ABOVE).outcome


def on_broken(trial: Trial, rows: Iterable[Row], book: Book) -> list[Ruling]:
    """Hold a task that bears on finished work which fell past its limit while it was kept.

    What the work went through stays, whatever its age and its newest reading, until the engineer
    releases the task.
    """
    known, task = trial.known, trial.task
    if not any(row.quantity in BEARS_ON for row in rows) or is_kept(known, task):
        return []
    found = []
    for other in known.job.tasks:
        form = kind_of(other.work_type).form
        span = done_span(known, other)
        ours = form in {Form.WORK, Form.PROTECTION} and is_kept(known, other)
        if not ours or span is None or not near(other, task):
            continue
        theirs = book.rows_for(other.work_type)
        kept = [r for r in theirs if form is Form.PROTECTION or protects(r)]
        broken = breach(Trial(known, other, span), kept)
        if broken is not None and any(b.holds for b in broken.row.bands):
            found.append(_held(broken))
    return found


def _held(broken: Breach) -> Ruling:
    row, read = broken.row, broken.gravest
    limit = LimitLine(
        rule=row.id, quantity=row.quantity, taken_as="min", value=_in_unit(read, row),
        unit=row.unit, outcome=Outcome.NO_GO, at=reading_time(read), place=read.place,
        says="it froze inside its protection", source=row.source, clause=row.clause,
        verify=row.verify,
    )  # fmt: skip
    what = "the work read past its limit inside its protection"
    return Ruling(
        row.id,
        Outcome.NO_GO,
        limit,
        call="hold",
        cautions=(
            CautionLine("early_age_freezing", what),
            CautionLine("engineer_decides", "what it bears is ruled on by the engineer"),
        ),
        holds=(HoldLine("engineer", "the temperature record, before anything bears on it"),),
        tells=tuple(TellLine(whom, what, None) for whom in ("engineer", "inspector")),
    )


def protection_rulings(known: Known, found: Commitment) -> list[Ruling]:
    """Return what a commitment says of itself: its end, what is left, whether it was broken."""
    left = hours_between(known.now, found.until)
    numbers = (
        NumberLine("protection_period", "last_time", found.until, "time"),
        NumberLine(
            "protection_period", "duration", hours_between(found.finished, found.until), "h"
        ),
        NumberLine("protection_left", "duration", left, "h"),
    )
    made = Ruling(found.rule, Outcome.GO, numbers=numbers)
    if found.broken is None:
        return [made]
    return [
        replace(
            made,
            cautions=(
                CautionLine("early_age_freezing", "the work fell past its limit"),
                CautionLine("engineer_decides", "counted again from recovery, provisionally"),
            ),
            holds=(HoldLine("engineer", "the temperature record of the work"),),
        )
    ]


def commitments(known: Known, book: Book) -> list[Commitment]:
    """Return everything that is still owed protection."""
    found = []
    for task in known.job.tasks:
        form = kind_of(task.work_type).form
        if form not in {Form.WORK, Form.PROTECTION} or not is_kept(known, task):
            continue
        rows = [r for r in book.rows_for(task.work_type) if form is Form.PROTECTION or protects(r)]
        owed = commitment(known, task, rows)
        if owed is not None:
            found.append(owed)
    return found


def strip_ruling(trial: Trial, book: Book) -> list[Ruling]:
    """Refuse to take a cover away from work that is still to be kept."""
    others = [
        task.place
        for task in trial.known.job.tasks
        if task.place
        and task.place != trial.task.place
        and kind_of(task.work_type).form is Form.REMOVAL
    ]
    owed = [
        c
        for c in commitments(trial.known, book)
        if concerns(c.task.place, trial.task.place, others)
    ]
    late = [c for c in owed if c.until > trial.start]
    if not late:
        return []
    last = max(late, key=lambda c: c.until)
    limit = LimitLine(
        rule=last.rule,
        quantity="protection_left",
        taken_as="duration",
        value=hours_between(trial.start, last.until),
        unit="h",
        outcome=Outcome.NO_GO,
        at=trial.start,
    )
    keep = MeasureLine("keep_cover_on", trial.known.now, last.until, last.rule)
    return [Ruling(last.rule, Outcome.NO_GO, limit, measures=(keep,), clears_at=last.until)]
