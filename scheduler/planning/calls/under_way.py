"""Work that is going on: judged now, by the newest readings and the hours left of it.

A limit that is passed now stops it, with what leaves it safe. What only later hours bring gives
an end instead, and what no longer fits the shift is told as that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

from rules.book import Book
from rules.book_rows import Row
from rules.kinds import Form, kind_of
from scheduler.planning.calls.judging import judge
from scheduler.planning.evidence.known import Known
from scheduler.planning.evidence.observed_then_forecast import hour_of, moment_of
from scheduler.planning.evidence.shifts import booked_length, goes_on, piece_end, shift_span
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import CheckLine, LimitLine, MeasureLine, Outcome, Span
from scheduler.planning.model.job import Task
from scheduler.planning.rulings.ruling import Judged, Ruling

SHIFT: Final = "shift"  # rule of work that the shift has no hours for
STOPPED: Final = "stopped"  # rule of what leaves stopped work safe
SLACK: Final = timedelta(hours=1)  # past the shift's end, work is finished; common practice
LEAST: Final = timedelta(minutes=30)  # a shorter end is none: stop now; common practice


def judged_now(known: Known, task: Task, rows: Sequence[Row], book: Book) -> Judged | None:
    """Return work under way as it stands now; None for work that nobody is at just now."""
    if goes_on(known, task) != known.now or kind_of(task.work_type).form is not Form.WORK:
        return None
    trial = Trial(known, task, Span(known.now, _end(known, task)))
    judged = judge(trial, rows, book)
    refused = [r for r in judged.refusals if r.outcome is Outcome.NO_GO]
    if refused and all(r.moves for r in judged.refusals):
        judged = _until_then(judged, rows, book) or judged
    late = _no_hours(judged)
    made = (*judged.rulings, *late)
    if is_stopped(known, replace(judged, rulings=made)):
        made = (*made, _left_safe(trial))
    return replace(judged, rulings=made)


def _end(known: Known, task: Task) -> datetime:
    if booked_length(task) is not None and task.until is not None:
        return max(task.until, known.now + LEAST)
    return piece_end(known, task, known.now)


def is_stopped(known: Known, judged: Judged) -> bool:
    """Tell whether people are at work on what is refused now; a link not logged is no reason."""
    trial = judged.trial
    work = kind_of(trial.task.work_type).form is Form.WORK
    at_work = work and goes_on(known, trial.task) == trial.start == known.now
    refusing = (r for r in judged.refusals if r.outcome is Outcome.NO_GO and r.rule != "job")
    return at_work and any(refusing)


def _until_then(judged: Judged, rows: Sequence[Row], book: Book) -> Judged | None:
    """Return the same work up to the hour that refuses it; None where that is now."""
    trial = judged.trial
    first, last = hour_of(trial.start) + 1, hour_of(trial.end)
    best = None
    while first <= last:
        middle = (first + last) // 2
        shorter = replace(trial, span=Span(trial.start, moment_of(middle)))
        tried = judge(shorter, rows, book)
        if tried.refusals:
            last = middle - 1
        else:
            best, first = tried, middle + 1
    if best is None or best.trial.end - trial.start < LEAST:
        return None
    told = tuple(_ends(r, best.trial.end, trial) for r in judged.refusals)
    return replace(best, rulings=(*told, *best.rulings))


def _ends(ruling: Ruling, end: datetime, trial: Trial) -> Ruling:
    """Return a refusal of later hours as the end that it sets."""
    clock = end.astimezone(trial.known.zone)
    said = CheckLine("recheck_forecast", f"stop and leave it safe by {clock:%H:%M}")
    outcome = Outcome.GO_WITH_PROTECTION
    limit = None if ruling.limit is None else replace(ruling.limit, outcome=outcome)
    safe = _left_safe(trial, end)
    measures = (*ruling.measures, *safe.measures)
    return replace(
        ruling, outcome=outcome, call="", limit=limit, measures=measures,
        checks=(said, *ruling.checks), clears_at=None, moves=False,
    )  # fmt: skip


def _no_hours(judged: Judged) -> list[Ruling]:
    """Refuse work that cannot pause and that the shift has no hours left for."""
    trial, task = judged.trial, judged.trial.task
    known = trial.known
    shift = shift_span(known, task, known.local_day(trial.start))
    if task.may_pause or shift is None or trial.end <= shift.end + SLACK:
        return []
    left = max((shift.end - trial.start) / timedelta(hours=1), 0.0)
    limit = LimitLine(
        rule=SHIFT, quantity="working_hours", taken_as="duration", value=left, unit="h",
        outcome=Outcome.NO_GO, at=shift.end, source=SHIFT,
    )  # fmt: skip
    return [Ruling(SHIFT, Outcome.NO_GO, limit)]


def _left_safe(trial: Trial, at: datetime | None = None) -> Ruling:
    """Return what leaves work safe where it stops half done."""
    known = trial.known
    lines = tuple(
        MeasureLine(name, at or known.now, trial.end, STOPPED, on_hand=name in known.job.on_hand)
        for name in kind_of(trial.task.work_type).stopped
    )
    return Ruling(STOPPED, Outcome.GO, measures=lines)
