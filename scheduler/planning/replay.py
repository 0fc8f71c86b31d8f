"""The plan's order replayed in every scenario: what really comes out of it when weather falls so.

A replay is a policy, not a new plan for each scenario: it knows what a crew knows when it decides.

* Hours are walked forward. The task that can begin first begins; of those that can begin at once
  the one that stands earlier in the plan. Nothing is placed before something placed already.
* A task may go into a gap before one that stands earlier in the plan and needs the same crew, but
  not where that one could begin before it is over, by what a forecast of ``KNOWN_H`` hours tells
  of its start. What comes after those hours and that one's own is not looked at: that keeps later
  weather out of it.
* That a task may begin at an hour looks at the work's own hours and the nights after it, as the
  verdicts do everywhere: they are forecast when it begins.
* An appointment is held where everything before it is done; else the next slot offered is taken.

Limits "not more than so many hours after" are watched, not forced: the share of scenarios that
keep them is told. Gates stand at the job's confidence in every scenario.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.network import Plan, Problem, Work, permitted
from scheduler.planning.tables import NEVER, BoolArray, FlatArray, IntArray

KNOWN_H: Final = 72  # hours a forecast is trusted when a crew is held free; common practice
ROW_END: Final = 1  # a row of a table is one position longer than its hours


@dataclass(frozen=True, slots=True)
class Replayed:
    """Start and finish of every task in every scenario; ``NEVER`` where it finds no place."""

    ids: tuple[str, ...]
    start: IntArray  # (scenarios, tasks)
    finish: IntArray  # (scenarios, tasks)
    cause: NDArray[np.int16]  # (scenarios, tasks) task whose finish it waited for, -1 for none
    close_in: IntArray  # (scenarios,) hour by which every closing task is done
    last: NDArray[np.int16]  # (scenarios,) the closing task that is done last
    kept: Mapping[tuple[str, str], float]  # by tie with a limit: share of scenarios that keep it

    def quantile(self, task: int, share: float) -> int:
        """Return the hour by which a task is done in that share of scenarios, or ``NEVER``."""
        return at_share(self.finish[:, task], share)

    def holds(self, task: int, hour: int) -> float:
        """Return the share of scenarios in which a task begins at an hour: an appointment."""
        return float((self.start[:, task] == hour).mean())

    def critical(self) -> NDArray[np.float64]:
        """Return for each task the share of scenarios in which close-in waits for it: (tasks,).

        Followed back from the closing task that is done last, through what each one waited for.
        """
        rows = np.arange(self.close_in.size)
        at = np.where(self.close_in < NEVER, self.last, np.int16(-1)).astype(np.intp)
        found = np.zeros(self.start.shape, dtype=np.bool_)
        for _ in self.ids:
            known = at >= 0
            if not known.any():
                break
            found[rows[known], at[known]] = True
            at = np.where(known, self.cause[rows, np.maximum(at, 0)], -1)
        share: NDArray[np.float64] = found.mean(axis=0)
        return share


def at_share(hours: IntArray, share: float) -> int:
    """Return the hour by which that share of the scenarios is there: the upper order statistic."""
    rank = max(int(np.ceil(share * hours.size - 1e-9)) - 1, 0)
    return int(np.partition(hours, rank)[rank])


def replay(
    problem: Problem,
    plan: Plan,
    finish: Mapping[str, IntArray],
    *,
    floors: IntArray | None = None,
) -> Replayed:
    """Replay a plan's order in every scenario.

    Parameters
    ----------
    problem : Problem
        Ties, crews, appointments; its own finish tables are not looked at.
    plan : Plan
        Its starts give the order.
    finish : (scenarios, hours), by task
        Finish of every start in each scenario, ``NEVER`` where the task may not begin.
    floors : (questions, tasks), optional
        Hours before which tasks are not begun. All questions are replayed at once, each in every
        scenario, one under the other.

    Returns
    -------
    Replayed
        Tasks in the problem's order; (questions * scenarios) rows.

    Raises
    ------
    ValueError
        If the plan places no task, so that there is no order to replay.
    """
    starts = plan.starts()
    if len(starts) != len(problem.tasks):
        raise ValueError("only a plan that places every task can be replayed")
    return _Replay(problem, starts, finish, floors).run()


@dataclass(frozen=True, slots=True)
class _Starts:
    """Where one task may begin in each scenario, and when it is done then."""

    position: FlatArray  # permitted starts, row * stride + hour, rising
    finish: IntArray  # (scenarios, hours)
    row: NDArray[np.intp]  # (rows,) scenario of each row of the replay

    @classmethod
    def of(cls, work: Work, finish: IntArray, questions: int) -> _Starts:
        offered = permitted(replace(work, finish=np.zeros(finish.shape[-1], dtype=np.int32)))
        open_ = (finish < NEVER) & (offered < NEVER)
        row, hour = np.nonzero(open_)
        rows = np.tile(np.arange(finish.shape[0]), questions)
        return cls(row * (finish.shape[-1] + ROW_END) + hour, finish, rows)

    def first(self, low: IntArray) -> IntArray:
        """Return the first permitted start at or after an hour of each row: (rows,)."""
        stride = self.finish.shape[-1] + ROW_END
        rows = self.row * stride
        inside = low < stride
        wanted = rows + np.minimum(low, stride - 1)
        at = np.searchsorted(self.position, wanted)
        found = np.append(self.position, np.iinfo(np.int64).max)[at] - rows
        return np.where(inside & (found < stride), found, NEVER).astype(np.int32)

    def done(self, start: IntArray) -> IntArray:
        """Return the finish of a start of each row: (rows,)."""
        held = np.minimum(start, self.finish.shape[-1] - 1)
        return np.where(start < NEVER, self.finish[self.row, held], NEVER)


class _Replay:
    """The state of all scenarios while tasks are placed, one in each scenario at a time."""

    def __init__(
        self,
        problem: Problem,
        starts: Mapping[str, int],
        finish: Mapping[str, IntArray],
        floors: IntArray | None,
    ) -> None:
        self.problem = problem
        self.ids = tuple(work.id for work in problem.tasks)
        index = {name: n for n, name in enumerate(self.ids)}
        self.rank = np.argsort(np.argsort([starts[name] for name in self.ids], kind="stable"))
        questions = 1 if floors is None else floors.shape[0]
        self.tables = [_Starts.of(work, finish[work.id], questions) for work in problem.tasks]
        self.into = [[tie for tie in problem.ties if tie.after == name] for name in self.ids]
        self.out = [
            [(index[tie.after], tie) for tie in problem.ties if tie.before == name]
            for name in self.ids
        ]
        scenarios = next(iter(finish.values())).shape[0]
        self.rows = questions * scenarios
        shape = (self.rows, len(self.ids))
        floor = [max(work.not_before, 0) for work in problem.tasks]
        self.low = np.broadcast_to(np.asarray(floor, dtype=np.int32), shape).copy()
        if floors is not None:
            self.low = np.maximum(self.low, np.repeat(floors.astype(np.int32), scenarios, axis=0))
        self.missing = np.broadcast_to([len(ties) for ties in self.into], shape).copy()
        self.cause = np.full(shape, -1, dtype=np.int16)
        self.start = np.full(shape, NEVER, dtype=np.int32)
        self.finish = np.full(shape, NEVER, dtype=np.int32)
        self.placed = np.zeros(shape, dtype=np.bool_)
        self.free = {
            name: np.zeros((self.rows, size), dtype=np.int32)
            for name, size in problem.crews.items()
        }
        self.user = {name: np.full(free.shape, -1, np.int16) for name, free in self.free.items()}
        self.next = np.full(shape, NEVER, dtype=np.int32)  # first start that can be, as things are
        self.over = np.full(shape, NEVER, dtype=np.int32)  # and when it is done then
        self.before, self.after = _rivals(problem, self.rank)

    def run(self) -> Replayed:
        """Place one task in every scenario until none can be placed."""
        stale = np.ones((self.rows, len(self.ids)), dtype=np.bool_)
        for _ in self.ids:
            self._look(stale)
            chosen = self._choose()
            stale = self._place(chosen)
        closing = [n for n, work in enumerate(self.problem.tasks) if work.closes]
        some = closing or list(range(len(self.ids)))
        ends = self.finish[:, some]
        return Replayed(
            ids=self.ids,
            start=self.start,
            finish=self.finish,
            cause=self.cause,
            close_in=ends.max(axis=1),
            last=np.asarray(some, dtype=np.int16)[ends.argmax(axis=1)],
            kept=self._kept(),
        )

    def _look(self, stale: BoolArray) -> None:
        """Find the first start of every task whose turn has come, where something changed."""
        for n, work in enumerate(self.problem.tasks):
            rows = np.flatnonzero(stale[:, n] & (self.missing[:, n] == 0) & ~self.placed[:, n])
            if not rows.size:
                continue
            low = np.full(self.rows, NEVER, dtype=np.int32)
            low[rows] = self.low[rows, n]
            for crew, need in work.crews.items():
                low[rows] = np.maximum(low[rows], self._freed(crew, need, rows))
            found = self.tables[n].first(low)
            self.next[rows, n] = found[rows]
            self.over[rows, n] = self.tables[n].done(found)[rows]

    def _freed(self, crew: str, need: int, rows: NDArray[np.intp]) -> IntArray:
        """Return the hour from which so many of a crew are free: (rows,)."""
        free = self.free[crew][rows]
        if need > free.shape[1]:
            return np.full(rows.size, NEVER, dtype=np.int32)
        return np.partition(free, need - 1, axis=1)[:, need - 1]

    def _choose(self) -> NDArray[np.intp]:
        """Return the task to place in each scenario, -1 where none can be: (scenarios,)."""
        held = self.next.copy()
        held[self.placed] = NEVER
        if self.before.size:
            first, then = held[:, self.before], held[:, self.after]
            ends = np.minimum(self.over[:, self.after], then + KNOWN_H)
            rows, pairs = np.nonzero((first < ends) & (then < NEVER))
            held[rows, self.after[pairs]] = NEVER
        order = held.astype(np.int64) * len(self.ids) + self.rank
        chosen = order.argmin(axis=1)
        rows_ = np.arange(self.rows)
        return np.where(held[rows_, chosen] < NEVER, chosen, -1)

    def _place(self, chosen: NDArray[np.intp]) -> BoolArray:
        """Place the chosen tasks, and return whose first start is to be looked for again."""
        stale = np.zeros((self.rows, len(self.ids)), dtype=np.bool_)
        for n in np.unique(chosen[chosen >= 0]):
            rows = np.flatnonzero(chosen == n)
            start, end = self.next[rows, n], self.over[rows, n]
            self.placed[rows, n] = True
            self.start[rows, n], self.finish[rows, n] = start, end
            for crew, need in self.problem.tasks[n].crews.items():
                self._take(n, crew, need, rows, end)
                for other, work in enumerate(self.problem.tasks):
                    if crew in work.crews:
                        stale[rows, other] = True
            for other, tie in self.out[n]:
                at = start if tie.from_start else end
                inside = np.minimum(at, tie.ready.size - 1)
                ready = np.where(at < tie.ready.size, tie.ready[inside], NEVER)
                later = ready > self.low[rows, other]
                self.cause[rows[later], other] = n
                self.low[rows, other] = np.maximum(self.low[rows, other], ready)
                self.missing[rows, other] -= 1
                stale[rows, other] = True
        return stale

    def _take(self, n: int, crew: str, need: int, rows: NDArray[np.intp], end: IntArray) -> None:
        """Take the units of a crew that are free longest, and say whom the task waited for."""
        free, user = self.free[crew], self.user[crew]
        order = np.argsort(free[rows], axis=1, kind="stable")[:, :need]
        taken = free[rows[:, None], order]
        latest = order[np.arange(rows.size), taken.argmax(axis=1)]
        late = free[rows, latest] > self.low[rows, n]
        self.cause[rows[late], n] = user[rows[late], latest[late]]
        free[rows[:, None], order] = end[:, None]
        user[rows[:, None], order] = n

    def _kept(self) -> dict[tuple[str, str], float]:
        index = {name: n for n, name in enumerate(self.ids)}
        found = {}
        for tie in self.problem.ties:
            if tie.within is None:
                continue
            before, after = index[tie.before], index[tie.after]
            at = self.start[:, before] if tie.from_start else self.finish[:, before]
            found[tie.before, tie.after] = float((self.start[:, after] - at <= tie.within).mean())
        return found


def _rivals(problem: Problem, rank: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return pairs that cannot be under way at once, the one earlier in the plan first."""
    pairs = [
        (one, other)
        for one, a in enumerate(problem.tasks)
        for other, b in enumerate(problem.tasks)
        if rank[one] < rank[other]
        and any(
            number + b.crews.get(crew, 0) > problem.crews[crew]
            for crew, number in a.crews.items()
            if crew in b.crews
        )
    ]
    found = np.asarray(pairs, dtype=np.intp).reshape(-1, 2)
    return found[:, 0], found[:, 1]
