"""Starts as a plan: its figures worked out, the whole tested before it leaves."""

from __future__ import annotations

from collections.abc import Sequence

from scheduler.planning.schedule.check import faults_of
from scheduler.planning.schedule.network import (
    Placed,
    Plan,
    Problem,
    Status,
    close_in_of,
    cost_of,
    moved_of,
)
from scheduler.planning.tables.finish import NEVER


def without_plan(status: Status, bound: int = NEVER) -> Plan:
    """Return the answer that there is no plan, or that none was found."""
    return Plan(status=status, placed=(), close_in=NEVER, bound=bound, moved=())


def plan_of(
    problem: Problem, starts: Sequence[int], *, bound: int, settled: Sequence[str], proof: str
) -> Plan:
    """Return the plan of given starts, tested.

    Parameters
    ----------
    problem : Problem
    starts : sequence of int
        Start hour of each task, in the problem's order.
    bound : int
        Hour before which no plan closes in.
    settled : sequence of str
        The aims that are proven as good as can be.
    proof : str
        What proves the close-in, in plain words.

    Raises
    ------
    RuntimeError
        If the test fails: a fault of the planner, never of its input.
    """
    placed = tuple(
        Placed(work.id, start, int(work.finish[start]))
        for work, start in zip(problem.tasks, starts, strict=True)
    )
    close_in = close_in_of(problem, {row.id: row.finish for row in placed})
    plan = Plan(
        status=Status.PROVEN if bound >= close_in else Status.BOUNDED,
        placed=placed,
        close_in=close_in,
        bound=bound,
        moved=moved_of(problem, {row.id: row.start for row in placed}),
        cost=cost_of(problem, {row.id: row for row in placed}),
        settled=tuple(settled),
        proof=proof,
    )
    faults = faults_of(problem, plan)
    if faults:
        raise RuntimeError(f"the planner made an unsound plan: {'; '.join(faults)}")
    return plan
