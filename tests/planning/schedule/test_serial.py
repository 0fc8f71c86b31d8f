"""Windows, bounds and the serial schedule against networkx and the plan check."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest

from scheduler.planning.schedule.check import faults_of
from scheduler.planning.schedule.crew_bound import crew_bound
from scheduler.planning.schedule.first_schedule import best_serial, from_both_ends
from scheduler.planning.schedule.network import Problem, Status, Tie, Work
from scheduler.planning.schedule.plans import plan_of
from scheduler.planning.schedule.reach import close_in_bound, net_of, windows
from scheduler.planning.schedule.serial import close_in, pass_from_back, serial_pass
from scheduler.planning.schedule.solve import CREWS, solve
from scheduler.planning.tables.finish import Effort, finish_table, ready_after
from tests.planning.nets import brute_force, random_problem

ALWAYS = np.ones(400, bool)


def plain(id_: str, hours: int, **more: object) -> Work:
    return Work(id=id_, finish=finish_table(ALWAYS, ALWAYS, Effort(hours)), **more)


@pytest.mark.parametrize("seed", range(60))
def test_windows_without_calendar_are_the_longest_path(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 25))
    length = [int(n) for n in rng.integers(1, 9, count)]
    graph = nx.DiGraph()
    ties = []
    for n in range(count):
        graph.add_edge(n, "end", weight=length[n])
        for before in range(n):
            if rng.random() < 0.2:
                wait = int(rng.integers(0, 4))
                graph.add_edge(before, n, weight=length[before] + wait)
                ties.append(Tie(f"{before:02d}", f"{n:02d}", ready_after(400, wait)))
    shuffled = [int(n) for n in rng.permutation(count)]
    problem = Problem(400, tuple(plain(f"{n:02d}", length[n]) for n in shuffled), tuple(ties))
    net = net_of(problem)
    span = windows(net)
    longest = nx.dag_longest_path_length(graph)
    assert span is not None
    assert close_in_bound(net, span) == longest
    for at, n in enumerate(shuffled):
        ahead = [*nx.ancestors(graph, n), n]
        into = nx.dag_longest_path_length(graph.subgraph(ahead))
        assert span.first[at] == into
    plan = solve(problem)
    assert (plan.status, plan.close_in) == (Status.PROVEN, longest)


@pytest.mark.parametrize("seed", range(120))
def test_a_plan_passes_the_check(seed: int) -> None:
    rng = np.random.default_rng(seed)
    problem = random_problem(rng, tasks=8, hours=120, bookings=True, costs=True)
    plan = solve(problem)
    assert faults_of(problem, plan) == []


@pytest.mark.parametrize("seed", range(120))
def test_a_schedule_from_both_ends_is_sound_and_no_later(seed: int) -> None:
    problem = random_problem(
        np.random.default_rng(seed), tasks=9, hours=120, bookings=seed % 2 > 0
    )
    net = net_of(problem)
    starts = serial_pass(net, [float(n) for n in range(len(net.ids))])
    if starts is None:
        pytest.skip("the order of the ids finds no place for a task")
    done = close_in(net, starts)
    better = from_both_ends(net, starts)
    assert close_in(net, better) <= done
    assert plan_of(problem, better, bound=0, settled=(), proof="").placed
    right = pass_from_back(net, [net.finish[n][at] for n, at in enumerate(starts)], done)
    if right is not None:
        assert plan_of(problem, right, bound=0, settled=(), proof="").close_in <= done


def test_a_schedule_from_the_back_puts_each_task_as_late_as_it_can() -> None:
    ties = (Tie("a", "b", ready_after(400, 5)), Tie("s", "z", ready_after(400, 0), within=4))
    works = (
        plain("a", 2),
        plain("b", 5, crews={"c": 1}),
        plain("s", 2),
        plain("z", 9, crews={"c": 1}),
    )
    net = net_of(Problem(400, works, ties, {"c": 1}))
    starts = pass_from_back(net, [1, 2, 0, 3], 50)
    assert starts == [50 - 9 - 5 - 5 - 2, 50 - 9 - 5, 50 - 9 - 2, 50 - 9]


def test_noise_on_the_order_finds_what_no_plain_rule_finds_and_says_the_same_each_time() -> None:
    better = 0
    for seed in range(40):
        net = net_of(random_problem(np.random.default_rng(seed), tasks=20, hours=400))
        span = windows(net)
        if span is None:
            continue
        few, many = (best_serial(net, span, bound=0, passes=passes) for passes in (0, 30))
        if few is None or many is None:
            continue  # successors that must follow soon: no order tried places them all
        assert many == best_serial(net, span, bound=0, passes=30)
        assert close_in(net, many) <= close_in(net, few)
        better += close_in(net, many) < close_in(net, few)
    assert better > 5


@pytest.mark.parametrize("seed", range(0, 80, 2))
def test_the_bound_by_crews_is_never_later_than_brute_force(seed: int) -> None:
    rng = np.random.default_rng(seed)
    problem = random_problem(rng, tasks=int(rng.integers(3, 7)), hours=44, crews=1)
    net = net_of(problem)
    span = windows(net)
    best = brute_force(problem)
    if span is not None and best is not None:
        alone = close_in_bound(net, span)
        assert alone <= crew_bound(net, alone, problem.hours) <= best[0]


def test_the_hours_of_a_crew_bound_the_plan() -> None:
    shift = np.arange(400) % 24 // 8 == 1
    finish = finish_table(ALWAYS, shift, Effort(4))
    works = tuple(Work(f"t{n}", finish, crews={"c": 1}) for n in range(7))
    net = net_of(Problem(400, works, (), {"c": 1}))
    assert crew_bound(net, 0, 400) == 3 * 24 + 8 + 4  # two a day, the seventh on the fourth day
    two = net_of(Problem(400, works, (), {"c": 2}))
    assert crew_bound(two, 0, 400) == 24 + 8 + 6  # 28 hours: 16 on the first day, 2 times 6
    plan = solve(Problem(400, works, (), {"c": 1}))
    assert (plan.close_in, plan.proof) == (84, CREWS)


def test_a_task_slips_into_the_gap_before_work_already_placed() -> None:
    ties = (Tie("a", "b", ready_after(400, 20)),)
    works = (plain("a", 2), plain("b", 5, crews={"c": 1}), plain("z", 9, crews={"c": 1}))
    plan = solve(Problem(400, works, ties, {"c": 1}))
    assert plan.starts() == {"a": 0, "b": 22, "z": 0}


def test_a_successor_that_must_follow_soon_holds_its_predecessor_back() -> None:
    ties = (
        Tie("strip", "pour", ready_after(400, 0), within=4),
        Tie("forms", "pour", ready_after(400, 0)),
    )
    works = (plain("forms", 30), plain("pour", 3), plain("strip", 2))
    plan = solve(Problem(400, works, ties))
    assert plan.starts()["pour"] == 30
    assert plan.finishes()["strip"] >= 26


def test_a_circle_and_a_falling_table_are_refused() -> None:
    ties = (Tie("a", "b", ready_after(400, 0)), Tie("b", "a", ready_after(400, 0)))
    with pytest.raises(ValueError, match="circle"):
        solve(Problem(400, (plain("a", 1), plain("b", 1)), ties))
    falling = np.arange(400, 0, -1, dtype=np.int32)
    with pytest.raises(ValueError, match="does not rise"):
        solve(Problem(400, (Work("a", falling),)))
