"""The call: what a person does now, from everything that rules on a task.

The first of these that applies stands: stop; wait with a known earliest time; hold; wait;
prepare; go with protection; go.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from rules.kinds import Form, kind_of
from scheduler.planning.calls.under_way import is_stopped
from scheduler.planning.evidence.known import Known
from scheduler.planning.model.answer import Call, Outcome
from scheduler.planning.model.job import Task
from scheduler.planning.rulings.ruling import Judged, Ruling

ABOUT_TO_BE: Final = timedelta(hours=4)  # people are on their way; common practice, no source


def call_of(known: Known, task: Task, judged: Judged, earliest: datetime | None) -> Call:
    """Return the call for a judged trial; ``earliest`` is the next possible start, if known."""
    refusals = judged.refusals
    if is_stopped(known, judged):
        return Call.STOP
    if any(r.call == "stop" for r in refusals) and _people(known, judged):
        return Call.STOP
    if not refusals:
        return _allowed(task, judged)
    if kind_of(task.work_type).form is Form.PROTECTION:
        return _kept(judged)
    if earliest is not None:
        return Call.WAIT
    if any(_holds(r) for r in refusals):
        return Call.HOLD
    if kind_of(task.work_type).form is Form.STANDING:
        return Call.PREPARE
    return Call.WAIT


def _people(known: Known, judged: Judged) -> bool:
    """Tell whether people are in it or about to be."""
    return judged.trial.start <= known.now + ABOUT_TO_BE and judged.trial.end > known.now


def _holds(ruling: Ruling) -> bool:
    return ruling.call == "hold" or bool(ruling.holds)


def _kept(judged: Judged) -> Call:
    """Finished work is kept whatever comes; only its own hold stands before that."""
    if any(r.call == "hold" for r in judged.refusals):
        return Call.HOLD
    return Call.GO_WITH_PROTECTION


def _allowed(task: Task, judged: Judged) -> Call:
    if any(r.call == "hold" for r in judged.rulings):
        return Call.HOLD
    protected = judged.outcome is Outcome.GO_WITH_PROTECTION
    prepares = any(r.call == "prepare" for r in judged.rulings)
    if prepares or (protected and kind_of(task.work_type).form is Form.STANDING):
        return Call.PREPARE
    return Call.GO_WITH_PROTECTION if protected else Call.GO
