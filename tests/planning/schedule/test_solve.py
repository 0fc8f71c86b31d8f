"""The plan against brute force, against itself with more to work with, and against yesterday's."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.planning.schedule.check import faults_of
from scheduler.planning.schedule.network import Booking, Plan, Problem, Rent, Status, Tie, Work
from scheduler.planning.schedule.solve import SOLVER, solve
from scheduler.planning.tables.finish import Effort, finish_table, ready_after
from tests.planning.nets import brute_force, random_problem

NETS = 500 if os.environ.get("CLOSEIN_SOAK") else 80


def small(seed: int) -> Problem:
    rng = np.random.default_rng(seed)
    return random_problem(
        rng,
        tasks=int(rng.integers(2, 8)),
        hours=44,
        bookings=seed % 2 == 0,
        costs=seed % 3 == 0,
    )


def values(problem: Problem, plan: Plan) -> tuple[int, int, int, int] | None:
    if plan.status is Status.INFEASIBLE:
        return None
    called = {w.booking.who for w in problem.tasks if w.booking and w.id in plan.moved}
    return plan.close_in, len(plan.moved), len(called), plan.cost


@pytest.mark.soak
@pytest.mark.parametrize("seed", range(NETS))
def test_a_plan_is_as_good_as_brute_force(seed: int) -> None:
    problem = small(seed)
    plan = solve(problem)
    assert plan.status in {Status.PROVEN, Status.INFEASIBLE}
    assert values(problem, plan) == brute_force(problem)
    assert faults_of(problem, plan) == []


def lost_day(problem: Problem, plan: Plan, seed: int) -> Problem:
    """Return what is left where one task of a plan cannot begin before eight hours later."""
    late = problem.tasks[seed % len(problem.tasks)]
    floor = plan.starts()[late.id] + 8
    tasks = tuple(
        replace(work, not_before=max(work.not_before, floor)) if work is late else work
        for work in problem.tasks
    )
    return replace(problem, tasks=tasks)


@pytest.mark.soak
@pytest.mark.parametrize("seed", range(NETS))
def test_all_aims_in_turn_after_a_lost_day_are_as_good_as_brute_force(seed: int) -> None:
    """Close-in, appointments, people, protection and rent, and then starts that stay."""
    rng = np.random.default_rng(10_000 + seed)
    problem = random_problem(
        rng, tasks=int(rng.integers(2, 6)), hours=40, bookings=True, costs=seed % 2 == 0, rents=2
    )
    first = solve(problem)
    assert values(problem, first) == brute_force(problem)
    if not first.placed:
        return
    late = lost_day(problem, first, seed)
    plan = solve(late, previous=first.starts())
    best = brute_force(late, first.starts())
    if best is None:
        assert plan.status is Status.INFEASIBLE
        return
    changed = sum(plan.starts()[name] != start for name, start in first.starts().items())
    assert (*(values(late, plan) or ()), changed) == best
    assert plan.settled == ("close_in", "appointments", "people", "cost")
    assert faults_of(late, plan) == []


@pytest.mark.parametrize("seed", range(0, 60, 2))
def test_the_answer_is_not_changed_by_the_order_of_tasks(seed: int) -> None:
    problem = small(seed)
    turned = replace(problem, tasks=problem.tasks[::-1], ties=problem.ties[::-1])
    assert values(problem, solve(problem)) == values(turned, solve(turned))


@settings(max_examples=40)
@given(seed=st.integers(0, 10_000), data=st.data())
def test_another_crew_or_fit_hour_never_closes_in_later(seed: int, data: st.DataObject) -> None:
    problem = random_problem(np.random.default_rng(seed), tasks=7, hours=60)
    before = solve(problem)
    crew = data.draw(st.sampled_from(sorted(problem.crews)))
    more_crew = replace(problem, crews={**problem.crews, crew: problem.crews[crew] + 1})
    assert solve(more_crew).close_in <= before.close_in
    n = data.draw(st.integers(0, len(problem.tasks) - 1))
    work = problem.tasks[n]
    if work.fair is not None:
        fitter = (*problem.tasks[:n], replace(work, finish=work.fair), *problem.tasks[n + 1 :])
        assert solve(replace(problem, tasks=fitter)).close_in <= before.close_in


@settings(max_examples=25)
@given(seed=st.integers(0, 10_000))
def test_no_change_in_no_change_out(seed: int) -> None:
    problem = random_problem(
        np.random.default_rng(seed), tasks=8, hours=70, bookings=True, costs=True, rents=seed % 3
    )
    plan = solve(problem)
    again = solve(problem, previous=plan.starts())
    assert again.starts() == plan.starts()
    if plan.placed:  # nor after a lost day
        late = lost_day(problem, plan, seed)
        plan = solve(late, previous=plan.starts())
        again = solve(late, previous=plan.starts())
        assert again.starts() == plan.starts()


def plain(id_: str, hours: int, **more: object) -> Work:
    always = np.ones(200, bool)
    shift = np.arange(200) % 24 // 8 == 1
    return Work(id=id_, finish=finish_table(always, shift, Effort(hours)), **more)


def test_an_appointment_is_kept_where_that_costs_no_time() -> None:
    free = Problem(
        200, (plain("a", 4, crews={"c": 1}), plain("b", 4, crews={"c": 1})), (), {"c": 1}
    )
    assert solve(free).starts() == {"a": 8, "b": 12}
    booked = replace(free.tasks[0], booking=Booking("truck", 12))
    plan = solve(replace(free, tasks=(booked, free.tasks[1])))
    assert (plan.starts(), plan.moved) == ({"a": 12, "b": 8}, ())


def test_fewer_people_are_called_among_as_few_moves() -> None:
    # the first task comes a day late, so two of the three visits move; two are of one man
    def visit(id_: str, who: str, start: int) -> Work:
        return plain(id_, 4, crews={"c": 1}, booking=Booking(who, start, (56, 60)))

    works = (visit("a", "x", 32), visit("b", "x", 36), visit("c", "y", 32))
    plan = solve(Problem(200, works, (), {"c": 1}))
    assert len(plan.moved) == 1
    assert plan.settled == ("close_in", "appointments", "people", "cost")


def test_protection_costs_decide_among_equal_dates() -> None:
    dear = np.where(np.arange(200) < 24, 50, 0).astype(np.int32)
    works = (plain("a", 4, cost=dear), plain("z", 4, closes=True, not_before=100))
    plan = solve(Problem(200, works))
    assert (plan.starts()["a"], plan.cost) == (32, 0)


def test_rented_equipment_is_kept_few_days() -> None:
    ready = ready_after(200, 0)
    ties = (Tie("a", "b", ready), Tie("b", "z", ready), Tie("wait", "b", ready))
    works = (plain("a", 4), plain("b", 4), plain("wait", 4, not_before=100), plain("z", 4))
    days = (np.arange(201) // 24).astype(np.int32)
    problem = Problem(200, works, ties, rents=(Rent("heater", ("a", "b"), 60),), days=days)
    plan = solve(problem)
    assert plan.cost == 60
    assert plan.starts()["a"] // 24 == plan.starts()["b"] // 24


def test_rented_work_is_early_too_where_that_costs_no_more() -> None:
    ties = (Tie("a", "b", ready_after(200, 0)),)
    works = (plain("a", 4), plain("b", 4, not_before=50), plain("z", 8, closes=True))
    days = (np.arange(201) // 24).astype(np.int32)
    problem = Problem(200, works, ties, rents=(Rent("beams", ("a", "b"), 45),), days=days)
    assert solve(problem).starts() == {"a": 56, "b": 60, "z": 8}  # one day, the first there is


def test_a_start_is_not_held_while_a_fit_day_goes_by() -> None:
    days = (np.arange(201) // 24).astype(np.int32)
    works = (plain("a", 4, crews={"c": 1}), plain("b", 4, crews={"c": 1}), plain("z", 8))
    problem = Problem(200, works, (), {"c": 1}, days=days)
    plan = solve(problem, previous={"a": 36, "b": 12, "z": 8})
    assert plan.starts() == {"a": 8, "b": 12, "z": 8}  # a day sooner; b stays on its day


def test_a_plan_before_is_kept_as_far_as_it_can() -> None:
    works = (plain("a", 4, crews={"c": 1}), plain("b", 4, crews={"c": 1}), plain("z", 8))
    problem = Problem(200, works, (), {"c": 1})
    plan = solve(problem, previous={"a": 12, "b": 8, "z": 8})
    assert plan.starts() == {"a": 12, "b": 8, "z": 8}
    late = replace(works[1], not_before=32)
    plan = solve(replace(problem, tasks=(works[0], late, works[2])), previous=plan.starts())
    assert plan.starts() == {"a": 12, "b": 32, "z": 8}


def test_no_plan_is_an_answer() -> None:
    works = (plain("a", 9),)
    assert solve(Problem(200, works)).status is Status.INFEASIBLE
    both = (plain("a", 8, starts=(8,), crews={"c": 1}), plain("b", 8, starts=(8,), crews={"c": 1}))
    plan = solve(Problem(200, both, (), {"c": 1}))
    assert (plan.status, plan.placed) == (Status.INFEASIBLE, ())


def test_nothing_left_to_do_is_a_plan() -> None:
    plan = solve(Problem(200, ()))
    assert (plan.status, plan.close_in) == (Status.PROVEN, 0)


SCRIPT = """
import numpy as np
from scheduler.planning.schedule.solve import solve
from tests.benchmarks._season_nets import season
from tests.planning.nets import random_problem
p = random_problem(np.random.default_rng(4), tasks=14, hours=160, bookings=True, costs=True)
print(solve(p))
print(solve(season(3, 40).problem))
"""


def test_the_same_inputs_give_the_same_plan_in_two_processes() -> None:
    runs = [
        subprocess.run(
            [sys.executable, "-c", SCRIPT], capture_output=True, text=True, check=True
        ).stdout
        for _ in range(2)
    ]
    assert runs[0] == runs[1]
    assert "Placed" in runs[0]
    assert SOLVER in runs[0]
