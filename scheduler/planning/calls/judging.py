"""A trial judged: rows of the book, papers, what else the job says, and other views of the sky."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Final

from rules.book import Book, Row
from rules.kinds import Form, kind_of
from rules.leaving import protects
from scheduler.planning.calls.commitments import on_broken, strip_ruling
from scheduler.planning.calls.holds import holds_of, with_releases
from scheduler.planning.calls.links import out_of_order, too_early
from scheduler.planning.calls.strength import by_strength, on_frozen
from scheduler.planning.evidence.ages import as_moment, since
from scheduler.planning.evidence.deadlines import available_from
from scheduler.planning.evidence.known import Known
from scheduler.planning.evidence.shifts import shift_span
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import (
    CautionLine,
    LimitLine,
    MeasureLine,
    NumberLine,
    Outcome,
)
from scheduler.planning.model.job import Document, Task
from scheduler.planning.rulings.chances import SITE_RECORD, cold_side
from scheduler.planning.rulings.numbers import also
from scheduler.planning.rulings.papers import rule_on
from scheduler.planning.rulings.rows import ruling
from scheduler.planning.rulings.ruling import GRAVITY, Judged, Ruling


def rows_of(known: Known, book: Book, task: Task, *, done: bool) -> tuple[Row, ...]:
    """Return the rows that bind a task; of finished work only those that keep it afterwards."""
    rows = book.rows_for(task.work_type)
    if task.work_type == "keep_heat":
        rows = (*rows, *book.rows_for(_kept_kind(known, task)))
    if not done or kind_of(task.work_type).form is not Form.WORK:
        return rows
    return tuple(row for row in rows if protects(row))


def _kept_kind(known: Known, task: Task) -> str:
    """Return which rules say how long heat is kept: those of the work that was placed last."""
    placed = {
        "protect_concrete": since(known, "age_of_concrete", task),
        "protect_masonry": since(known, "age_of_grout", task)
        or since(known, "age_of_masonry", task),
    }
    told = {kind: at for kind, at in placed.items() if at is not None}
    return max(told, key=lambda kind: told[kind], default="protect_masonry")


def judge(trial: Trial, rows: Sequence[Row], book: Book, *, deep: bool = True) -> Judged:
    """Judge a trial by every row and paper; ``deep`` looks at other views of the sky too."""
    made = _by_rows(trial, rows)
    if deep:
        made += _other_views(trial, rows, made)
        made += cold_side(trial, rows)
        made += _covered(trial, made)
        made += _after_dark(trial)
    for paper in trial.known.documents_for(trial.task):
        made += rule_on(trial, paper)
    made += [*_not_there_yet(trial), *too_early(trial), *out_of_order(trial, book)]
    made += [*by_strength(trial, made), *on_broken(trial, rows, book)]
    made = with_releases(trial, made, rows) + holds_of(trial) + on_frozen(trial.known, trial.task)
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


def _other_views(trial: Trial, rows: Sequence[Row], made: Sequence[Ruling]) -> list[Ruling]:
    """Return what another source, or the site's own record, makes of the same rows.

    Another source only where it is graver: the worse side is planned on. The site's record
    always, for the air it corrects.
    """
    moving = {r.rule: r for r in made if r.moves}
    found = []
    for view in trial.known.others:
        there = replace(trial, known=trial.known.seen_as(view))
        for row in rows:
            here = moving.get(row.id)
            other = None if here is None else ruling(there, row)
            if here is None or other is None:
                continue
            if view.name == SITE_RECORD:
                found += _at_site(other, here)
                continue
            line = CautionLine("forecast_sources_disagree", f"{view.name}: the graver is used")
            if _graver(other, here):
                found.append(replace(other, cautions=(*other.cautions, line)))
            elif _graver(here, other):
                found.append(Ruling(row.id, Outcome.GO, cautions=(line,)))
    return found


def _graver(other: Ruling, here: Ruling) -> bool:
    """Tell whether a ruling is graver than another, or asks for what that one does not."""
    more = {m.measure for m in other.measures} - {m.measure for m in here.measures}
    return GRAVITY[other.outcome] > GRAVITY[here.outcome] or (
        other.outcome is here.outcome and bool(more)
    )


def _at_site(other: Ruling, here: Ruling) -> list[Ruling]:
    """Return a ruling on corrected air, under its own name."""
    limit = other.limit
    if limit is None or limit.quantity != "air_temperature":
        return []
    named = replace(limit, quantity="air_temperature_at_site")
    line = CautionLine("local_cold_air", "the site runs otherwise than the grid")
    cautions = (line, *other.cautions) if _graver(other, here) else (line,)
    return [replace(other, limit=named, cautions=cautions, bears=(), numbers=())]


def _covered(trial: Trial, made: Sequence[Ruling]) -> list[Ruling]:
    """Ask to leave a cover that is on where finished work is still to be covered."""
    known = trial.known
    ends = [
        m.end for r in made for m in r.measures
        if m.end is not None and m.end > known.now and m.measure in COVERS
    ]  # fmt: skip
    told = [
        f for f in known.all_facts("*", "covered_with") if f.value not in (None, "none", False)
    ]
    if not told or not ends or trial.end > known.now:
        return []
    keep = MeasureLine("keep_cover_on", known.now, max(ends), "cover")
    return [Ruling("cover", Outcome.GO, measures=(keep,))]


COVERS: Final = frozenset({
    "weather_resistive_cover", "insulating_blankets", "heated_enclosure", "electric_blankets",
})  # fmt: skip


def _after_dark(trial: Trial) -> list[Ruling]:
    """Ask for lights where hours of work lie outside daylight; refuse what needs the day."""
    known, task = trial.known, trial.task
    if kind_of(task.work_type).form is not Form.WORK:
        return []
    day = known.local_day(trial.start)
    rise, down = known.sunrise(day), known.sunset(day)
    shift = shift_span(known, task, day) if task.may_pause else None
    end = trial.end if shift is None else min(shift.end, trial.end)
    never = day in known.sun and rise is None and down is None
    late = down is not None and end > down
    early = rise is not None and trial.start < rise
    if not late and not early and not never:
        return []
    if task.daylight_only:
        return [_in_the_dark(trial)]
    dark = [
        *([(trial.start, min(rise, trial.end))] if early and rise is not None else []),
        *([(max(down, trial.start), end)] if late and down is not None else []),
    ] or [(trial.start, trial.end)]
    here = "lights" in known.job.on_hand
    lights = tuple(MeasureLine("lights", *hours, "daylight", on_hand=here) for hours in dark)
    said = f"sunset {down.astimezone(known.zone):%H:%M}" if down is not None and late else "dark"
    return [
        Ruling("daylight", Outcome.GO_WITH_PROTECTION if never else Outcome.GO, measures=lights,
               cautions=(CautionLine("daylight", said),))
    ]  # fmt: skip


def _in_the_dark(trial: Trial) -> Ruling:
    """Refuse hours outside daylight of work that the job lets be done in daylight only."""
    limit = LimitLine(
        rule="daylight", quantity="daylight", taken_as="value", value=False, unit="yes_no",
        outcome=Outcome.NO_GO, at=trial.start, allowed="in daylight only", source="the job",
    )  # fmt: skip
    said = CautionLine("daylight", "the job lets it be done in daylight only")
    return Ruling("daylight", Outcome.NO_GO, limit, moves=True, cautions=(said,))


def _not_there_yet(trial: Trial) -> Iterable[Ruling]:
    """Refuse work whose material comes later."""
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
