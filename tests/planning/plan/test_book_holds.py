"""A plan names the holds that the calls of its morning hold its tasks for."""

from __future__ import annotations

from datetime import timedelta

import pytest

from scheduler.planning.calls.decide import decide
from scheduler.planning.model.job import Task
from scheduler.planning.model.log import Entry, EntryKind, Fact, Progress
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


@pytest.mark.parametrize(("looked_h", "roles"), [(None, {"competent_person"}), (1.0, set())])
def test_a_cut_is_planned_for_its_look_of_the_day(looked_h: float | None, roles: set[str]) -> None:
    """29 CFR 1926.651(k)(1): the competent person looks daily before work."""
    cut = Task("cut", "Cut", "work_in_trench", 4.0)
    look = Fact("trench", "inspected", value=True, at=NOW - timedelta(hours=looked_h or 0.0))
    progress = Progress(log(*([] if looked_h is None else [look])))
    plan = plan_job(
        job(cut), book=BOOK, progress=progress, forecast=mild(), climate=None, now=NOW, seed=1,
        count=1, compared=True,
    ).answer  # fmt: skip
    call = decide(job(cut), mild(), None, progress, BOOK, NOW)[0]
    assert {hold.by for hold in plan.tasks[0].holds} == roles == {hold.by for hold in call.holds}
