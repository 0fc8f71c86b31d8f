"""The plan's order replayed in every scenario: when each task is done, when the house is closed.

The same weather decides the work and the open house, so the chance of closing in before the first
breach is joint. Tasks go in the plan's order, each as soon as its links, crew and that scenario's
weather let it; who comes by appointment comes then, or at another time they offer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from rules.exposure import HourNumbers
from scheduler.planning.network import Plan, Problem, Work, permitted
from scheduler.planning.season_chain import replay
from scheduler.planning.tables import NEVER, BoolArray, IntArray

PERCENTS: Final = (10, 50, 90)


@dataclass(frozen=True, slots=True)
class TaskOdds:
    """One task over the scenarios, in hours from hour zero; ``None`` where it is not done."""

    finish: tuple[int | None, ...]  # by which 10, 50, 90 of 100 scenarios have it done
    kept: float | None  # share in which its appointment holds; None without one


@dataclass(frozen=True, slots=True)
class PlanOdds:
    """The plan over the scenarios."""

    closed: HourNumbers  # (scenarios,) close-in; NEVER where it is not reached
    close_in: tuple[int | None, ...]  # by which 10, 50, 90 of 100 scenarios have closed in
    tasks: Mapping[str, TaskOdds]


def plan_odds(
    problem: Problem,
    plan: Plan,
    *,
    finish: Mapping[str, IntArray],
    may_start: Mapping[str, BoolArray],
    now: int,
) -> PlanOdds | None:
    """Return the plan's odds; None where there is no plan.

    Parameters
    ----------
    problem : Problem
        As planned, without waits for weather: the scenarios bring their own.
    plan : Plan
        Its order is kept.
    finish : (scenarios, hours), by task
        Finish of every start in each scenario.
    may_start : (hours,), by task
        Starts whose work would not freeze.
    now : int
        Hour before which nothing begins.
    """
    if not plan.placed:
        return None
    tables = {
        work.id: _allowed(work, np.atleast_2d(finish[work.id]), may_start.get(work.id))
        for work in problem.tasks
    }
    count = max(table.shape[0] for table in tables.values())
    tables = {
        name: np.broadcast_to(table, (count, table.shape[-1])) for name, table in tables.items()
    }
    order = [row.id for row in sorted(plan.placed, key=lambda row: (row.start, row.finish))]
    chain = replay(problem, tables, np.array([now]), years=count, order=order)
    closing = [work.id for work in problem.tasks if work.closes] or list(chain.ids)
    closed = chain.of(closing)[1][0]
    tasks = {
        work.id: TaskOdds(_marks(chain.finish[n, 0]), _kept(work, chain.start[n, 0]))
        for n, work in enumerate(problem.tasks)
    }
    return PlanOdds(closed, _marks(closed), tasks)


def _allowed(work: Work, finish: IntArray, may_start: BoolArray | None) -> IntArray:
    """Return a scenario's table without the starts that dates, offers or frost rule out."""
    open_ = permitted(replace(work, finish=np.zeros_like(work.finish))) < NEVER
    if may_start is not None:
        open_ = open_ & may_start
    return np.where(open_, finish, NEVER).astype(np.int32)


def _kept(work: Work, starts: Sequence[int] | HourNumbers) -> float | None:
    return None if work.booking is None else float(np.mean(starts == work.booking.start))


def _marks(hours: HourNumbers) -> tuple[int | None, ...]:
    """Return the hours by which the stated shares are done, None where they never are."""
    ordered = np.sort(hours)
    ranks = [max(int(np.ceil(ordered.size * q / 100.0)), 1) - 1 for q in PERCENTS]
    return tuple(None if ordered[r] >= NEVER else int(ordered[r]) for r in ranks)
