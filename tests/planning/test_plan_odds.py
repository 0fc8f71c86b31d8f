"""The plan replayed in every scenario: dates, appointments and the joint chance by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from scheduler.planning.closein_date import joint_chance
from scheduler.planning.network import Booking, Placed, Plan, Problem, Status, Tie, Work
from scheduler.planning.plan_odds import plan_odds
from scheduler.planning.tables import (
    NEVER,
    Effort,
    finish_table,
    ready_after,
)

HOURS = 60
ALL_DAY = np.ones(HOURS, dtype=bool)


def table(workable: np.ndarray, hours: int = 4) -> np.ndarray:
    return finish_table(np.atleast_2d(workable), ALL_DAY, Effort(hours))


FAIR = table(ALL_DAY)


def posed(booking: Booking | None = None) -> tuple[Problem, Plan]:
    lay = Work("lay", FAIR[0], {"men": 1})
    lower = Work("lower", FAIR[0], closes=True, booking=booking)
    problem = Problem(
        HOURS, (lay, lower), (Tie("lay", "lower", ready_after(HOURS, 2)),), {"men": 1}
    )
    start = 10 if booking is None else booking.start
    placed = (Placed("lay", 0, 4), Placed("lower", start, start + 4))
    return problem, Plan(Status.PROVEN, placed, start + 4, start + 4)


def wet(*spans: tuple[int, int]) -> np.ndarray:
    workable = np.ones((len(spans), HOURS), dtype=bool)
    for row, (begin, end) in enumerate(spans):
        workable[row, begin:end] = False
    return workable


def test_each_scenarios_own_weather_delays_the_chain() -> None:
    problem, plan = posed()
    rain = wet((0, 0), (0, 7), (2, 20))
    found = plan_odds(
        problem, plan, finish={"lay": table(rain), "lower": FAIR}, may_start={}, now=0
    )
    assert found is not None
    # laid 0 to 4, 7 to 11, 20 to 24; two hours of waiting, four of lowering
    assert found.closed.tolist() == [10, 17, 30]
    assert found.close_in == (10, 17, 30)
    assert found.tasks["lay"].finish == (4, 11, 24)


def test_who_comes_by_appointment_comes_then_or_at_an_offered_time() -> None:
    problem, plan = posed(Booking("lifter", 12, slots=(40,), earliest_move=20))
    rain = wet((0, 0), (0, 0), (0, 0), (0, 9), (0, 50))
    found = plan_odds(
        problem, plan, finish={"lay": table(rain), "lower": FAIR}, may_start={}, now=0
    )
    assert found is not None
    assert found.closed.tolist() == [16, 16, 16, 44, NEVER]
    assert found.tasks["lower"].kept == pytest.approx(0.6)
    assert found.tasks["lower"].finish[2] is None


def test_work_that_would_freeze_is_not_begun_in_any_scenario() -> None:
    problem, plan = posed()
    late = np.arange(HOURS) >= 15
    found = plan_odds(
        problem, plan, finish={"lay": FAIR, "lower": FAIR}, may_start={"lay": late}, now=0
    )
    assert found is not None
    assert found.closed.tolist() == [25]


def test_without_a_plan_there_are_no_odds() -> None:
    problem, plan = posed()
    none = replace(plan, placed=())
    assert plan_odds(problem, none, finish={}, may_start={}, now=0) is None


WEATHER = arrays(np.bool_, (5, HOURS), elements=st.booleans())


@given(weather=WEATHER, worse=WEATHER, passed=arrays(np.int64, 5, elements=st.integers(0, 80)))
def test_worse_weather_never_closes_earlier_nor_raises_the_joint_chance(
    weather: np.ndarray, worse: np.ndarray, passed: np.ndarray
) -> None:
    problem, plan = posed()

    def closed(workable: np.ndarray) -> np.ndarray:
        tables = {"lay": table(workable), "lower": table(workable)}
        found = plan_odds(problem, plan, finish=tables, may_start={}, now=0)
        assert found is not None
        return found.closed

    fair, foul = closed(weather), closed(weather & worse)
    assert (foul >= fair).all()
    assert joint_chance(passed, foul) <= joint_chance(passed, fair)
