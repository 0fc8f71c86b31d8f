"""The set of colliding requirements: it collides, and no member can be spared."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from scheduler.planning.schedule.collisions import Collisions, collisions, requirements
from scheduler.planning.schedule.network import Booking, Problem, Status, Tie, Work
from scheduler.planning.schedule.solve import solve
from scheduler.planning.tables.finish import NEVER, Effort, finish_table, ready_after
from tests.planning.nets import random_problem

HOURS = 72
ALL = np.ones(HOURS, dtype=np.bool_)


def work(name: str, hours: int, **more: object) -> Work:
    table = finish_table(ALL, ALL, Effort(hours))
    return Work(name, table, fair=table, **more)  # type: ignore[arg-type]


def names(found: Collisions) -> set[tuple[str, str, str]]:
    return {(one.kind, one.task, one.other) for one in found.found}


def test_an_appointment_before_its_gate_opens_is_named_with_the_gate() -> None:
    lower = work("lower", 4, closes=True, booking=Booking("lifter", 20, (22,)))
    ties = (Tie("grout", "lower", ready_after(HOURS, 30)),)
    problem = Problem(HOURS, (work("grout", 5), lower), ties)
    assert solve(problem).status is Status.INFEASIBLE
    found = collisions(problem)
    assert names(found) == {("appointment", "lower", ""), ("wait", "lower", "grout")}
    without = {one.kind: one.close_in for one in found.found}
    assert without == {"appointment": 39, "wait": 24}  # 5 + 30 + 4; 20 + 4


def test_two_appointments_of_one_crew_at_one_hour() -> None:
    tasks = tuple(
        work(name, 6, crews={"a": 1}, booking=Booking("x", 10, (10,))) for name in ("one", "two")
    )
    found = collisions(Problem(HOURS, tasks, (), {"a": 1}))
    assert ("crew", "a", "") in names(found)
    assert {kind for kind, _, _ in names(found)} == {"crew", "appointment"}


def test_work_that_does_not_fit_at_all_is_told_so() -> None:
    long = Work("long", np.full(HOURS, NEVER, dtype=np.int32))
    found = collisions(Problem(HOURS, (long,)))
    assert found.season_too_short
    assert found.found == ()


def test_no_fit_weather_is_the_weather_s_fault() -> None:
    rain = Work("pour", np.full(HOURS, NEVER, dtype=np.int32), fair=work("pour", 5).finish)
    found = collisions(Problem(HOURS, (replace(rain, closes=True),)))
    assert names(found) == {("weather", "pour", "")}
    assert found.found[0].close_in == 5


@pytest.mark.parametrize("seed", range(40))
def test_the_set_alone_collides_and_each_member_is_needed(seed: int) -> None:
    rng = np.random.default_rng(seed)
    problem = random_problem(rng, tasks=6, hours=40, bookings=True, fit=0.55)
    if solve(problem).status is not Status.INFEASIBLE:
        return
    found = collisions(problem)
    if found.season_too_short:
        return
    assert found.known
    kept = names(found)
    rest = [r for r in requirements(problem) if (r.kind, r.task, r.other) not in kept]
    alone = problem
    for one in rest:
        alone = one.without(alone)
    assert solve(alone).status is Status.INFEASIBLE
    for member in requirements(problem):
        if (member.kind, member.task, member.other) in kept:
            assert solve(member.without(alone)).status is not Status.INFEASIBLE
