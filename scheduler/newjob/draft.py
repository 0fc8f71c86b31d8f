"""From numbers to the steps of the job: one function a kind."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from scheduler.newjob.addition_work import addition_draft
from scheduler.newjob.lift_work import lift_draft
from scheduler.newjob.numbers import Numbers
from scheduler.newjob.questions import Kind
from scheduler.newjob.repair_work import repair_draft
from scheduler.newjob.step import Draft

DRAFTS: Final[Mapping[Kind, Callable[[Numbers], Draft]]] = {
    Kind.RAISED_HOUSE: lift_draft,
    Kind.STEM_WALL: lift_draft,
    Kind.REPAIR: repair_draft,
    Kind.ADDITION: addition_draft,
}


def draft(n: Numbers) -> Draft:
    """Return the steps and papers of a job."""
    return DRAFTS[n.kind](n)
