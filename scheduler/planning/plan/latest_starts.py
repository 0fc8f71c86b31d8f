"""How late each task may begin: the last day that still keeps the joint chance.

Every task alone is held back to a day and the plan's order replayed in every scenario; the chance
is that of closing in before each scenario's own first breach. All tasks are asked at once, a day
between two known ones at a time (bisection; more delay is taken never to help).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.model.calendars import moment_of
from scheduler.planning.model.frame import Frame
from scheduler.planning.plan.plan_answer import LatestLine
from scheduler.planning.replay.replay import replay
from scheduler.planning.schedule.network import Plan, Problem
from scheduler.planning.tables.finish import NEVER, IntArray
from scheduler.planning.tables.own_gates import OwnGates
from scheduler.planning.tables.work_hours import WorkHours

DAY_H: Final = 24
SPARED: Final = 1e-9


@dataclass(frozen=True, slots=True)
class LatestStarts:
    """All open tasks, the one with the least room first."""

    rows: tuple[LatestLine, ...]
    keeps: float  # the joint chance that these starts keep
    below: bool  # it is under the confidence already: they only keep it from falling


def latest_starts(
    frame: Frame,
    problem: Problem,
    plan: Plan,
    hours: Mapping[str, WorkHours],
    gates: OwnGates,
    passed: NDArray[np.int64],
) -> LatestStarts:
    """Return the latest start of each task that keeps the joint chance.

    Parameters
    ----------
    frame, problem, plan : Frame, Problem, Plan
        As they were replayed.
    hours : WorkHours, by task
        As they were replayed.
    gates : OwnGates
        As they were replayed.
    passed : (scenarios,)
        First hour past a limit, ``NEVER`` or more where none is.
    """
    now = _chance(replay(problem, plan, hours, gates=gates).close_in, passed)
    keeps = min(now, frame.job.confidence)
    starts = plan.starts()
    names = [work.id for work in problem.tasks]
    planned = np.array([starts[name] for name in names])
    most = np.maximum((frame.hours - 1 - planned) // DAY_H, 0)
    low, high = np.zeros(planned.size, dtype=np.int64), most.copy()
    while (low < high).any():
        middle = (low + high + 1) // 2
        closed = _held_back(problem, plan, hours, gates, planned + DAY_H * middle)
        chances = np.array([_chance(row, passed) for row in closed])
        good = (chances >= keeps - SPARED) & (low < high)
        low = np.where(good, middle, low)
        high = np.where(good | (low >= high), high, middle - 1)
        high = np.maximum(high, low)
    rows = [
        LatestLine(
            name,
            moment_of(frame.hour_zero, int(planned[n] + DAY_H * low[n])) if low[n] else None,
            int(low[n]),
        )
        for n, name in enumerate(names)
    ]
    rows.sort(key=lambda row: (row.room_days, starts[row.task]))
    return LatestStarts(tuple(rows), keeps, below=now < frame.job.confidence - SPARED)


def _held_back(
    problem: Problem,
    plan: Plan,
    hours: Mapping[str, WorkHours],
    gates: OwnGates,
    held: NDArray[np.int64],
) -> IntArray:
    """Return close-in with each task alone held back to its hour: (tasks, scenarios)."""
    floors = np.diag(held).astype(np.int32)
    made = replay(problem, plan, hours, gates=gates, floors=floors)
    return made.close_in.reshape(held.size, -1)


def _chance(closed: IntArray, passed: NDArray[np.int64]) -> float:
    return float(((closed <= passed) & (closed < NEVER)).mean())
