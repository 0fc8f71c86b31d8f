"""A plan names the holds that the calls of its morning hold its tasks for."""

from __future__ import annotations

from datetime import timedelta

import pytest

from scheduler.planning.calls.decide import decide
from scheduler.planning.model.job import Task
from scheduler.planning.model.log import Entry, EntryKind, Progress
from scheduler.planning.plan_job import plan_job
from tests.planning.evidence.made import BOOK, NOW, job, log, mild, read

RAISE = Task("raise", "Raise", "raise_house", 6.0)
SANK = read("crib_settlement", 1.3, "in", before_h=4.0, place="south-west crib")
BEFORE = NOW - timedelta(hours=1)
RELEASE = Entry(
    9, BEFORE, BEFORE, EntryKind.RELEASE, "raise", who="L. Orr", payload={"role": "house_lifter"}
)


@pytest.mark.parametrize(
    ("more", "roles"), [((), {"house_lifter", "engineer"}), ((RELEASE,), set())]
)
def test_a_crib_that_sank_holds_the_plan_as_it_holds_the_call(
    more: tuple[Entry, ...], roles: set[str]
) -> None:
    """29 CFR 1926.305(c), firm footing under a raised load; who releases is common practice."""
    made, progress = job(RAISE), Progress((*log(SANK), *more))
    call = decide(made, mild(), None, progress, BOOK, NOW)[0]
    plan = plan_job(
        made, book=BOOK, progress=progress, forecast=mild(), climate=None, now=NOW, seed=1,
        count=1, compared=True,
    ).answer  # fmt: skip
    assert {hold.by for hold in plan.tasks[0].holds} == roles == {hold.by for hold in call.holds}
