"""The rest of the job replayed from many start dates, in many past years at once.

Tasks go one after another in the job's own order, each as early as its links, its crew and the
weather of that year let it. No day is known beforehand, so no plan looks ahead: what a crew can
begin it begins. Everything is whole hours on one axis; arrays are ``(starts, years)``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.schedule.network import Problem
from scheduler.planning.tables.finish import NEVER, IntArray, next_start

Hours = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Chain:
    """When each task begins and ends, by start date and past year; ``NEVER`` where it does not."""

    ids: tuple[str, ...]
    start: Hours  # (tasks, starts, years)
    finish: Hours  # (tasks, starts, years)

    def of(self, ids: Sequence[str]) -> tuple[Hours, Hours]:
        """Return the first start and the last finish of some tasks: ``(starts, years)`` each."""
        rows = [self.ids.index(one) for one in ids]
        return self.start[rows].min(axis=0), self.finish[rows].max(axis=0)


def replay(
    problem: Problem,
    finish: Mapping[str, IntArray],
    begin: Hours,
    *,
    years: int,
    order: Sequence[str],
) -> Chain:
    """Return the chain from each start hour in each year.

    Parameters
    ----------
    problem : Problem
        Ties, crews and earliest starts; its own finish tables are not looked at.
    finish : (years, hours), by task
        Finish of work begun at each hour in each year; ``NEVER`` where it may not begin.
    begin : (starts,)
        Hour before which nothing is begun.
    years : int
        Number of past years.
    order : sequence of str
        Task ids as the job lists them: of tasks whose predecessors are placed the first goes
        first.
    """
    shape = (begin.size, years)
    free = {crew: np.zeros((number, *shape), np.int64) for crew, number in problem.crews.items()}
    at = {work.id: n for n, work in enumerate(problem.tasks)}
    starts = np.full((len(problem.tasks), *shape), NEVER, dtype=np.int64)
    ends = starts.copy()
    for n in _order(problem, order):
        work = problem.tasks[n]
        low = np.broadcast_to(np.maximum(begin, work.not_before)[:, None], shape)
        last = np.full(shape, NEVER, dtype=np.int64)
        for tie in problem.ties:
            if tie.after == work.id:
                ref = (starts if tie.from_start else ends)[at[tie.before]]
                low = np.maximum(low, _looked_up(tie.ready, ref))
                if tie.within is not None:
                    last = np.minimum(last, ref + tie.within)
        for crew, number in work.crews.items():
            low = np.maximum(low, np.sort(free[crew], axis=0)[number - 1])
        start = _looked_up(next_start(finish[work.id]), low)
        start = np.where(start > last, NEVER, start)
        starts[n], ends[n] = start, _looked_up(finish[work.id], start)
        for crew, number in work.crews.items():
            held = np.sort(free[crew], axis=0)
            held[:number] = np.where(ends[n] < NEVER, ends[n], held[:number])
            free[crew] = held
    return Chain(tuple(work.id for work in problem.tasks), starts, ends)


def _order(problem: Problem, listed: Sequence[str]) -> list[int]:
    """Return task indices, predecessors first and else as listed."""
    before = {
        work.id: {t.before for t in problem.ties if t.after == work.id} for work in problem.tasks
    }
    at = {work.id: n for n, work in enumerate(problem.tasks)}
    left = [one for one in listed if one in at]
    placed: list[str] = []
    while left:
        ready = next((one for one in left if before[one] <= set(placed)), None)
        if ready is None:
            raise ValueError(f"predecessors run in a circle among {left}")
        placed.append(ready)
        left.remove(ready)
    return [at[one] for one in placed]


def _looked_up(table: IntArray, at: Hours) -> Hours:
    """Return the table's entry at each hour; ``NEVER`` past its end.

    A table is ``(hours,)`` for all years alike or ``(years, hours)``.
    """
    hours = table.shape[-1]
    inside = at < hours
    place = np.where(inside, at, 0)
    row = () if table.ndim == 1 else (np.arange(table.shape[0]),)
    found = table[(*row, place)]
    return np.where(inside, found, NEVER).astype(np.int64)
