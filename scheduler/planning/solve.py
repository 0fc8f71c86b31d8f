"""The plan: earliest close-in, proven."""

from __future__ import annotations

from collections.abc import Sequence

from scheduler.planning.check import faults_of
from scheduler.planning.network import (
    Placed,
    Plan,
    Problem,
    Status,
    close_in_of,
    cost_of,
    moved_of,
)
from scheduler.planning.reach import close_in_bound, net_of, windows
from scheduler.planning.serial import best_serial
from scheduler.planning.tables import NEVER


def solve(problem: Problem) -> Plan:
    """Return the best plan found and how far it is proven.

    Raises
    ------
    ValueError
        If the problem contradicts itself: unknown names, a circle, a table that does not rise.
    """
    net = net_of(problem)
    span = windows(net)
    if span is None:
        return without_plan(Status.INFEASIBLE)
    bound = close_in_bound(net, span)
    starts = best_serial(net, span, bound=bound)
    if starts is None:
        return without_plan(Status.NOT_FOUND, bound)
    return plan_of(problem, dict(zip(net.ids, starts, strict=True)), bound=bound)


def without_plan(status: Status, bound: int = NEVER) -> Plan:
    """Return the answer that there is no plan, or that none was found."""
    return Plan(status=status, placed=(), close_in=NEVER, bound=bound, moved=())


def plan_of(problem: Problem, starts: dict[str, int], *, bound: int, proof: str = "") -> Plan:
    """Return the plan of given starts, tested.

    Raises
    ------
    RuntimeError
        If the test fails: a fault of the planner, never of its input.
    """
    placed = tuple(
        Placed(work.id, starts[work.id], int(work.finish[starts[work.id]]))
        for work in problem.tasks
    )
    finishes = {row.id: row.finish for row in placed}
    close_in = close_in_of(problem, finishes)
    plan = Plan(
        status=Status.PROVEN if bound >= close_in else Status.BOUNDED,
        placed=placed,
        close_in=close_in,
        bound=bound,
        moved=moved_of(problem, starts),
        cost=cost_of(problem, {row.id: row for row in placed}),
        proof=proof,
    )
    faults: Sequence[str] = faults_of(problem, plan)
    if faults:
        raise RuntimeError(f"the planner made an unsound plan: {'; '.join(faults)}")
    return plan
