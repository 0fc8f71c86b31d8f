"""One job, one judgement: a plan begins nothing that the call of that moment does not let go.

The law is this project's own (one decision a task, everything shown is a view of it).
"""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from rules.book import load_book
from scheduler.planning.calls.decide import decide
from scheduler.planning.model.answer import Call
from scheduler.planning.model.log import Progress
from scheduler.planning.plan_job import plan_job
from tests.relations.cases import NOW, case

SOAK = bool(os.environ.get("CLOSEIN_SOAK"))
CASES = 300 if SOAK else 20
BOOK = load_book()
GOES = frozenset({Call.GO, Call.GO_WITH_PROTECTION})
SHIFT_ENDS = NOW + timedelta(hours=13)  # 18:00 at the site; the coming shift begins at 06:00


@pytest.mark.soak
def test_the_plan_begins_when_the_call_says() -> None:
    """Unbooked work: never before the call's hour, and in nine of ten cases in it."""
    same = 0
    for seed in range(CASES):
        one = case(np.random.default_rng(seed))
        before, task = one.job.tasks
        free = replace(task, booked=None, until=None)
        last = (NOW + timedelta(days=6)).date()
        job = replace(one.job, tasks=(before, free), season_end=last)
        found = decide(job, one.forecast, None, Progress(), BOOK, NOW)
        answer = next(each for each in found if each.task == "task")
        planned = plan_job(
            job, book=BOOK, progress=Progress(), forecast=one.forecast, climate=None, now=NOW,
            seed=1, count=1, compared=True,
        ).answer  # fmt: skip
        start = next(line.start for line in planned.tasks if line.id == "task")
        if answer.call in GOES:
            assert answer.window is not None
            assert start is None or start >= answer.window.start, (seed, answer, start)
            same += start == answer.window.start
        else:
            assert start is None or start >= SHIFT_ENDS, (seed, answer, start)
            same += 1
    assert same >= 0.9 * CASES
