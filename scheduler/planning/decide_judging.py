"""A trial judged: rows of the book, papers, what else the job says, and other views of the sky."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime

from rules.book import Book, Row
from rules.kinds import Form, kind_of
from scheduler.planning.answer import CautionLine, LimitLine, NumberLine, Outcome
from scheduler.planning.decide_ages import as_moment
from scheduler.planning.decide_commitments import protects, strip_ruling
from scheduler.planning.decide_deadlines import available_from
from scheduler.planning.decide_known import Known, View
from scheduler.planning.decide_numbers import also
from scheduler.planning.decide_papers import rule_on
from scheduler.planning.decide_rows import ruling
from scheduler.planning.decide_ruling import GRAVITY, Judged, Ruling
from scheduler.planning.decide_trial import Trial
from scheduler.planning.job import Document, Task, WhatIf


def rows_of(book: Book, task: Task, *, done: bool) -> tuple[Row, ...]:
    """Return the rows that bind a task; of finished work only those that keep it afterwards."""
    rows = book.rows_for(task.work_type)
    if not done or kind_of(task.work_type).form is not Form.WORK:
        return rows
    return tuple(row for row in rows if protects(row))


def judge(trial: Trial, rows: Sequence[Row], book: Book, *, deep: bool = True) -> Judged:
    """Judge a trial by every row and paper; ``deep`` looks at other views of the sky too."""
    made = _by_rows(trial, rows)
    if deep:
        made = [_graver(trial, rows, r) for r in made] if trial.known.others else made
    for paper in trial.known.documents_for(trial.task):
        made += rule_on(trial, paper)
    made += list(_not_there_yet(trial))
    if kind_of(trial.task.work_type).form is Form.REMOVAL:
        made += strip_ruling(trial, book)
    return Judged(trial, tuple(made))


def _by_rows(trial: Trial, rows: Iterable[Row]) -> list[Ruling]:
    made = []
    for row in rows:
        found = ruling(trial, row)
        if found is not None:
            numbers = (*found.numbers, *also(trial, row, found))
            made.append(replace(found, numbers=numbers))
    return made


def _graver(trial: Trial, rows: Sequence[Row], found: Ruling) -> Ruling:
    """Return the ruling of the colder, wetter or windier view where one is graver."""
    row = next((r for r in rows if r.id == found.rule), None)
    if row is None or not found.moves:
        return found
    worst = found
    for view in trial.known.others:
        other = ruling(replace(trial, known=trial.known.seen_as(view)), row)
        if other is not None and GRAVITY[other.outcome] > GRAVITY[worst.outcome]:
            worst = _named(other, view)
    if worst is found:
        return found
    return replace(worst, numbers=(*found.numbers, *worst.numbers))


def _named(ruling_: Ruling, view: View) -> Ruling:
    site = view.name == SITE_RECORD
    limit = ruling_.limit
    if limit is not None and site and limit.quantity == "air_temperature":
        limit = replace(limit, quantity="air_temperature_at_site")
    caution = "local_cold_air" if site else "forecast_sources_disagree"
    line = CautionLine(caution, f"{view.name}: the graver side is planned on")
    return replace(ruling_, limit=limit, cautions=(*ruling_.cautions, line))


SITE_RECORD = "site record"


def _not_there_yet(trial: Trial) -> Iterable[Ruling]:
    """Refuse work whose material or visitor comes later, or that may not begin yet."""
    known = trial.known
    for paper in known.documents_for(trial.task):
        comes = available_from(known, paper)
        if comes is not None and paper.terms.get("supplier_of"):
            rule = f"document:{paper.id}"
            late = known.local_day(comes) > known.local_day(trial.start)
            outcome = Outcome.NO_GO if late else Outcome.GO
            limit = _from_then(rule, f"{paper.terms['supplier_of']} on site", comes, outcome)
            numbers = tuple(_delay(known, paper))
            yield Ruling(rule, outcome, limit, numbers=numbers, clears_at=comes if late else None)
    earliest = trial.task.not_before
    if earliest is not None and trial.start < earliest:
        limit = _from_then("job", "not before", earliest, Outcome.NO_GO)
        yield Ruling("job", Outcome.NO_GO, limit, clears_at=earliest)


def _from_then(rule: str, what: str, at: datetime, outcome: Outcome) -> LimitLine:
    return LimitLine(
        rule=rule, quantity=what, taken_as="first_time", value=None, unit="time",
        outcome=outcome, at=at, source=rule,
    )  # fmt: skip


def _delay(known: Known, paper: Document) -> Iterable[NumberLine]:
    now = as_moment(known, paper.terms.get("delivery"))
    was = as_moment(known, paper.terms.get("delivery_was"))
    if now is not None and was is not None:
        days = (known.local_day(now) - known.local_day(was)).days
        yield NumberLine("delivery_delay", "duration", days, "d")


def supposing(trial: Trial, what_if: WhatIf) -> Trial:
    """Return the same trial with a measure supposed to be taken."""
    return replace(trial, what_if=what_if)
