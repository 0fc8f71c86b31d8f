"""Every plan is tested here, without the solver, before it leaves.

The test reads the problem's own tables and counts crews hour by hour; it shares no code with
what made the plan.
"""

from __future__ import annotations

import numpy as np

from scheduler.planning.schedule.network import (
    Placed,
    Plan,
    Problem,
    Status,
    Work,
    close_in_of,
    cost_of,
    moved_of,
    permitted,
)
from scheduler.planning.tables.finish import NEVER


def faults_of(problem: Problem, plan: Plan) -> list[str]:
    """Return what is wrong with a plan, one line a fault; empty for a sound one."""
    if plan.status in {Status.INFEASIBLE, Status.NOT_FOUND}:
        return ["a plan without a solution has tasks"] if plan.placed else []
    if [row.id for row in plan.placed] != [work.id for work in problem.tasks]:
        return ["the plan does not hold each task once, in order"]
    placed = {row.id: row for row in plan.placed}
    faults = [
        fault for work in problem.tasks for fault in _task_faults(work, placed[work.id], problem)
    ]
    faults += _tie_faults(problem, placed)
    faults += _crew_faults(problem, placed)
    return faults or _sum_faults(problem, plan, placed)


def _task_faults(work: Work, row: Placed, problem: Problem) -> list[str]:
    if not 0 <= row.start < problem.hours:
        return [f"{work.id} starts at {row.start}, outside the hours"]
    finish = int(permitted(work)[row.start])
    if finish >= NEVER:
        return [f"{work.id} may not start at {row.start}"]
    if finish != row.finish or finish > problem.hours:
        return [f"{work.id} begun at {row.start} ends at {finish}, not {row.finish}"]
    return []


def _tie_faults(problem: Problem, placed: dict[str, Placed]) -> list[str]:
    faults = []
    for tie in problem.ties:
        before, after = placed[tie.before], placed[tie.after]
        counted = before.start if tie.from_start else before.finish
        if not 0 <= counted < tie.ready.size:
            continue  # told by the task's own faults
        opens = int(tie.ready[counted])
        if after.start < opens:
            faults.append(f"{tie.after} starts at {after.start}, {tie.before} opens it at {opens}")
        latest = NEVER if tie.within is None else counted + tie.within
        if after.start > latest:
            faults.append(f"{tie.after} starts at {after.start}, {tie.before} wants {latest}")
    return faults


def _crew_faults(problem: Problem, placed: dict[str, Placed]) -> list[str]:
    faults = []
    for crew, capacity in problem.crews.items():
        taken = np.zeros(problem.hours + 1, dtype=np.int64)
        for work in problem.tasks:
            row = placed[work.id]
            taken[max(row.start, 0) : max(row.finish, 0)] += work.crews.get(crew, 0)
        over = np.flatnonzero(taken > capacity)
        if over.size:
            hour = int(over[0])
            faults.append(f"{taken[hour]} of crew {crew} at hour {hour}, there are {capacity}")
    return faults


def _sum_faults(problem: Problem, plan: Plan, placed: dict[str, Placed]) -> list[str]:
    """Return where the plan's own figures do not follow from its tasks."""
    found = {
        "close-in": (plan.close_in, close_in_of(problem, plan.finishes())),
        "moved": (plan.moved, moved_of(problem, plan.starts())),
        "cost": (plan.cost, cost_of(problem, placed)),
    }
    faults = [f"{name} is {said}, not {is_}" for name, (said, is_) in found.items() if said != is_]
    if plan.bound > plan.close_in:
        faults.append(f"bound {plan.bound} is later than close-in {plan.close_in}")
    if plan.status is Status.PROVEN and plan.bound != plan.close_in:
        faults.append(f"proven, but bound {plan.bound} is not close-in {plan.close_in}")
    return faults
