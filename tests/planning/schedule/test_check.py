"""The plan check finds every kind of broken plan."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from scheduler.planning.schedule.check import faults_of
from scheduler.planning.schedule.network import Booking, Placed, Plan, Problem, Status, Tie, Work
from scheduler.planning.tables.finish import Effort, finish_table, ready_after

HOURS = 50
FINISH = finish_table(np.ones(HOURS, bool), np.arange(HOURS) % 10 < 8, Effort(4))
PROBLEM = Problem(
    hours=HOURS,
    tasks=(
        Work("a", FINISH, {"crew": 1}),
        Work("b", FINISH, {"crew": 1}, booking=Booking("lifter", 10, slots=(20,))),
        Work("c", FINISH, {"crew": 1}, closes=True, cost=np.full(HOURS, 7, np.int32)),
    ),
    ties=(Tie("a", "b", ready_after(HOURS, 5)), Tie("b", "c", ready_after(HOURS, 0), within=12)),
    crews={"crew": 1},
)


def plan(a: int = 0, b: int = 10, c: int = 20, **more: object) -> Plan:
    placed = tuple(Placed(id_, at, at + 4) for id_, at in zip("abc", (a, b, c), strict=True))
    moved = ("b",) if b != 10 else ()
    sound = Plan(Status.BOUNDED, placed, c + 4, c, moved, cost=7)
    return replace(sound, **more)


def test_a_sound_plan_has_no_faults() -> None:
    assert faults_of(PROBLEM, plan()) == []
    assert faults_of(PROBLEM, plan(b=20, c=30)) == []


@pytest.mark.parametrize(
    ("broken", "words"),
    [
        (plan(a=5), "a may not start at 5"),
        (plan(a=2), "a opens it at 11"),
        (plan(b=11), "b may not start at 11"),
        (plan(c=13), "2 of crew crew"),
        (plan(c=30), "b wants 26"),
        (plan(a=-1), "outside the hours"),
        (plan(close_in=25), "close-in is 25, not 24"),
        (plan(moved=("b",)), "moved is"),
        (plan(cost=0), "cost is 0, not 7"),
        (plan(bound=30), "later than close-in"),
        (plan(status=Status.PROVEN), "proven, but"),
        (plan(placed=()), "each task once"),
        (plan(status=Status.INFEASIBLE), "without a solution"),
    ],
)
def test_a_broken_plan_is_told(broken: Plan, words: str) -> None:
    assert any(words in fault for fault in faults_of(PROBLEM, broken)), faults_of(PROBLEM, broken)


def test_a_finish_that_is_not_the_tables_is_told() -> None:
    sound = plan()
    early = replace(sound, placed=(Placed("a", 0, 3), *sound.placed[1:]))
    assert faults_of(PROBLEM, early) == ["a begun at 0 ends at 4, not 3"]
