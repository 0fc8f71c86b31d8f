"""One job, one judgement: plan and week let nothing begin that the call of the moment does not.

The law is this project's own (one decision a task, everything shown is a view of it).
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from typing import cast
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from rules.book import load_book
from scheduler.output.week_told import week_told
from scheduler.planning.calls.decide import decide
from scheduler.planning.model.answer import Call, TaskAnswer
from scheduler.planning.model.job import Job
from scheduler.planning.plan.planned import Planned
from scheduler.planning.plan_job import plan_job
from scheduler.planning.reports.week import week
from tests.relations.cases import NOW, case, log

SOAK = bool(os.environ.get("CLOSEIN_SOAK"))
CASES = 300 if SOAK else 20
BOOK = load_book()
GOES = frozenset({Call.GO, Call.GO_WITH_PROTECTION})
SHIFT_ENDS = NOW + timedelta(hours=13)  # 18:00 at the site; the coming shift begins at 06:00


@pytest.mark.soak
def test_plan_and_week_begin_when_the_call_says() -> None:
    """Unbooked work: never before the call's hour, and in nine of ten cases in it."""
    same = painted = 0
    for seed in range(CASES):
        rng = np.random.default_rng(seed)
        one, progress = case(rng), log(rng)
        before, task = one.job.tasks
        free = replace(task, booked=None, until=None)
        last = (NOW + timedelta(days=6)).date()
        job = replace(one.job, tasks=(before, free), season_end=last)
        found = decide(job, one.forecast, None, progress, BOOK, NOW)
        answer = next(each for each in found if each.task == "task")
        planned = plan_job(
            job, book=BOOK, progress=progress, forecast=one.forecast, climate=None, now=NOW,
            seed=1, count=1, compared=True,
        )  # fmt: skip
        start = next(line.start for line in planned.answer.tasks if line.id == "task")
        fit = fit_hours(planned, job, found)
        if answer.call in GOES:
            assert answer.window is not None
            assert start is None or start >= answer.window.start, (seed, answer, start)
            same += start == answer.window.start
            painted += answer.window.start in fit
            assert all(hour >= answer.window.start for hour in fit), (seed, answer, fit)
        else:
            again = SHIFT_ENDS
            if answer.call is Call.STOP and start is not None and start < SHIFT_ENDS:
                # what stops people now may have grown old in the shift: then the call goes too
                then = decide(job, one.forecast, None, progress, BOOK, start)
                again = start if then[-1].call in GOES else SHIFT_ENDS
            assert start is None or start >= again, (seed, answer, start)
            assert all(hour >= again for hour in fit), (seed, answer, fit)
            same, painted = same + 1, painted + 1
    assert same >= 0.9 * CASES
    assert painted >= 0.9 * CASES


def fit_hours(planned: Planned, job: Job, answers: Sequence[TaskAnswer]) -> list[datetime]:
    """Return the hours of the shift that the week paints as fit to begin, UTC."""
    weeks = week(planned.frame, BOOK, planned.weather.forecast, planned.hourly)
    (one,) = [each for each in weeks if each.task == "task"]
    (told,) = week_told([one], planned.answer, job, answers)
    zone, days = ZoneInfo(job.site.time_zone), cast("list[dict[str, str]]", told["days"])
    return [
        datetime.combine(of.day, time(), tzinfo=zone).astimezone(UTC) + timedelta(hours=hour)
        for of, day in zip(one.days, days, strict=True)
        for hour, cell in enumerate(day["cells"])
        if cell in "GP"
    ]
