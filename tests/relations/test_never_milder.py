"""A situation made worse is never answered more mildly: by the calls, and by the plan's reader.

The relations are this project's own laws ("what is not known is never good news", "fewer means are
never milder"); no published figure is needed to see one broken.
"""

from __future__ import annotations

import os

import numpy as np
import pytest

from rules.book import load_book
from rules.judge import start_and_work_verdicts
from rules.verdict import Verdict, VerdictArray
from rules.weather import Weather
from scheduler.planning.calls.decide import decide
from scheduler.planning.evidence.facts import asked_without_log
from scheduler.planning.model.answer import Call, TaskAnswer
from scheduler.planning.model.log import Progress
from scheduler.planning.model.means import with_means
from tests.relations.cases import BACK_H, CHANGES, HOURS, NOW, Case, case, elsewhere, older

SOAK = bool(os.environ.get("CLOSEIN_SOAK"))
CASES = 2000 if SOAK else 100
EACH = 3 if SOAK else 1  # changes tried on a case; each answer may take the wall model
BOOK = load_book()
MILD = {Call.GO: 0, Call.GO_WITH_PROTECTION: 1}


def answered(one: Case) -> TaskAnswer:
    found = decide(one.job, one.forecast, None, Progress(), BOOK, NOW)
    return next(answer for answer in found if answer.task == "task")


def gravity(answer: TaskAnswer) -> int:
    return MILD.get(answer.call, 2)


def read(one: Case) -> VerdictArray:
    """Return the plan's verdict by start, from now on; an old forecast tells it nothing."""
    task = one.job.task("task")
    table = one.forecast.table
    blank = np.full(HOURS - BACK_H, np.nan)
    columns = {}
    for name, values in table.columns.items():
        kept = blank.copy()
        coming = values[BACK_H:]
        kept[: coming.size] = coming
        columns[name] = kept
    asked = with_means(asked_without_log(one.job, task, NOW), one.job, NOW, NOW)
    hours = int(task.duration_h)
    return start_and_work_verdicts(BOOK, asked, Weather(columns, HOURS - BACK_H), hours)


@pytest.mark.soak
@pytest.mark.parametrize("seed", range(CASES // 10))
def test_a_worse_case_is_never_answered_more_mildly(seed: int) -> None:
    rng = np.random.default_rng(seed)
    for n in range(10):
        one = case(rng)
        usual = gravity(answered(one))
        for step in range(EACH):
            at = (10 * seed + n + 5 * step) % len(CHANGES)  # each change as often as any other
            worse = answered(CHANGES[at](rng, one))
            assert gravity(worse) >= usual, (seed, n, CHANGES[at].__name__, one.job, worse)


@pytest.mark.soak
@pytest.mark.parametrize("seed", range(CASES // 10))
def test_a_worse_case_never_opens_a_start_to_the_plan(seed: int) -> None:
    rng = np.random.default_rng(1000 + seed)
    of_weather = [one for one in CHANGES if one not in (older, elsewhere)]
    for n in range(10):
        one = case(rng)
        usual = read(one)
        for change in rng.permutation(len(of_weather))[:3]:
            worse = read(of_weather[change](rng, one))
            refused = usual >= Verdict.NOT_KNOWN
            opened = refused & (worse <= Verdict.GO_WITH_PROTECTION)
            calmer = (usual == Verdict.GO_WITH_PROTECTION) & (worse == Verdict.GO)
            where = (seed, n, of_weather[change].__name__, one.job)
            assert not (opened | calmer).any(), where


def test_the_cases_reach_every_call() -> None:
    """A relation over cases that are all refused would hold whatever the product does."""
    rng = np.random.default_rng(5)
    calls = [gravity(answered(case(rng))) for _ in range(40)]
    assert {0, 1, 2} <= set(calls)
    assert calls.count(2) < 36


def test_two_days_make_a_forecast_old() -> None:
    rng = np.random.default_rng(6)
    found = [answered(older(rng, case(rng))) for _ in range(10)]
    assert all(gravity(answer) == 2 for answer in found)
