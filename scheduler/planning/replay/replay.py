"""The plan's order replayed in every scenario: what really comes out of it when weather falls so.

A replay is a policy, not a new plan for each scenario: it knows what a crew knows when it decides.

* Hours are walked forward. The task that can begin first begins; of those that can begin at once
  the one that stands earlier in the plan. Nothing is placed before something placed already.
* A task may go into a gap before one that stands earlier in the plan and needs the same crew, but
  not where that one could begin before it is over, by what a forecast of ``KNOWN_H`` hours tells
  of its start. What comes after those hours and that one's own is not looked at: that keeps later
  weather out of it. A test takes away all that is over after an hour, and finds what was decided
  ``KNOWN_H`` and the longest task before it unchanged.
* That a task may begin at an hour looks at the work's own hours and the nights after it, as the
  verdicts do everywhere: they are forecast when it begins.
* An appointment is held where everything before it is done; else the next slot offered is taken.

Limits "not more than so many hours after" are watched, not forced: ``limit_odds.py`` tells how
often each is broken. Strength gates open by each scenario's own temperatures (``own_gates.py``);
what they leave is looked at no further ahead than any other start.

Starts and finishes are found in the masks when they are asked for (``work_hours.py``), all tasks
and scenarios of a turn in one search. Arrays are ``(tasks, scenarios)``, tasks in the order of the
plan, so that of equal hours the first is that of the task earlier in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.schedule.network import Plan, Problem, Work, offered
from scheduler.planning.tables.finish import NEVER, BoolArray, IntArray
from scheduler.planning.tables.own_gates import OwnGates
from scheduler.planning.tables.work_hours import Finder, Places, WorkHours

KNOWN_H: Final = 72  # hours a forecast is trusted when a crew is held free; common practice
OPEN: Final = OwnGates()
UNKNOWN: Final = -1  # a first start that is still to be looked for


@dataclass(frozen=True, slots=True)
class Replayed:
    """Start and finish of every task in every scenario; ``NEVER`` where it finds no place."""

    ids: tuple[str, ...]
    start: IntArray  # (scenarios, tasks)
    finish: IntArray  # (scenarios, tasks)
    cause: NDArray[np.int16]  # (scenarios, tasks) task whose finish it waited for, -1 for none
    close_in: IntArray  # (scenarios,) hour by which every closing task is done
    last: NDArray[np.int16]  # (scenarios,) the closing task that is done last

    def quantile(self, task: int, share: float) -> int:
        """Return the hour by which a task is done in that share of scenarios, or ``NEVER``."""
        return at_share(self.finish[:, task], share)

    def holds(self, task: int, hour: int) -> BoolArray:
        """Return the scenarios in which a task begins at an hour, an appointment: (scenarios,)."""
        held: BoolArray = self.start[:, task] == hour
        return held

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
    hours: Mapping[str, WorkHours],
    *,
    gates: OwnGates = OPEN,
    floors: IntArray | None = None,
) -> Replayed:
    """Replay a plan's order in every scenario.

    Parameters
    ----------
    problem : Problem
        Ties, crews, appointments; its own finish tables are not looked at. Its gates are open
        where ``gates`` tell of them.
    plan : Plan
        Its starts give the order.
    hours : WorkHours, by task
        When it may be under way and begin in each scenario.
    gates : OwnGates
        What strength leaves in each scenario.
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
        If the plan places no task, so that there is no order to replay, or masks and gates are
        not of as many scenarios.
    """
    starts = plan.starts()
    if len(starts) != len(problem.tasks):
        raise ValueError("only a plan that places every task can be replayed")
    order = sorted(range(len(problem.tasks)), key=lambda n: (starts[problem.tasks[n].id], n))
    return _Replay(problem, order, hours, gates, floors).run()


@dataclass(frozen=True, slots=True)
class _Ties:
    """Every task's ties to what comes after it, those of one task side by side."""

    first: Places  # (tasks,)
    count: Places  # (tasks,)
    after: Places  # (ties,)
    turn: Places  # (ties,) how many ties between the same two come before it
    turns: int
    from_start: NDArray[np.bool_]  # (ties,)
    ready: IntArray  # all tables, one behind the other
    begin: Places  # (ties,) where its table begins
    size: int  # of a table
    gate: Places  # (ties,) which of the gates, -1
    gates: list[IntArray]  # each (scenarios, hours + 1)

    @classmethod
    def of(cls, problem: Problem, index: Mapping[str, int], gates: OwnGates) -> _Ties:
        """Return the ties of a problem, its tasks counted as ``index`` does."""
        ties = problem.ties
        before = np.array([index[tie.before] for tie in ties], dtype=np.intp)
        order = np.argsort(before, kind="stable")
        count = np.bincount(before, minlength=len(index)).astype(np.intp)
        sorted_ = [ties[n] for n in order]
        pairs = [(tie.before, tie.after) for tie in sorted_]
        turn = np.array([pairs[:n].count(pair) for n, pair in enumerate(pairs)], dtype=np.intp)
        size = problem.hours + 1
        keys = [(tie.after, tie.before) if tie.gated else None for tie in sorted_]
        own = [key for key in gates.ready if key in keys]
        tables = [np.minimum(tie.ready, NEVER) for tie in sorted_]
        return cls(
            first=np.cumsum(count) - count,
            count=count,
            after=np.array([index[tie.after] for tie in sorted_], dtype=np.intp),
            turn=turn,
            turns=int(turn.max(initial=-1)) + 1,
            from_start=np.array([tie.from_start for tie in sorted_], dtype=np.bool_),
            ready=np.concatenate([np.zeros(0, np.int32), *tables]),
            begin=np.arange(len(ties)) * size,
            size=size,
            gate=np.array([own.index(k) if k in own else -1 for k in keys], dtype=np.intp),
            gates=[gates.ready[key] for key in own],
        )

    def of_tasks(self, task: Places) -> tuple[Places, Places]:
        """Return the ties of some tasks, and which of those each belongs to."""
        count = self.count[task]
        whose = np.repeat(np.arange(task.size), count)
        within = np.arange(whose.size) - np.repeat(np.cumsum(count) - count, count)
        return self.first[task][whose] + within, whose

    def opened(self, tie: Places, at: IntArray, scenario: Places) -> IntArray:
        """Return the first start that ties leave, by the hours from which they count."""
        inside = np.minimum(at, self.size - 1)
        ready = self.ready[self.begin[tie] + inside]
        for number, gate in enumerate(self.gates):
            some = np.flatnonzero(self.gate[tie] == number)
            row = scenario[some] if gate.shape[0] > 1 else np.zeros_like(some)
            ready[some] = np.maximum(ready[some], gate[row, inside[some]])
        return np.where(at < self.size, ready, NEVER).astype(np.int32)


class _Crew:
    """The hours from which the units of one crew are free: (units, rows), rising."""

    def __init__(self, size: int, rows: int) -> None:
        self.free = np.zeros((size, rows), dtype=np.int32)
        self.user = np.full((size, rows), -1, dtype=np.int16)

    def take(self, need: NDArray[np.intp], rows: Places, end: IntArray, user: Places) -> None:
        """Take the units that are free longest until the end of a task: ``need`` by row."""
        taken = np.arange(self.free.shape[0])[:, None] < need
        free = np.where(taken, end, self.free[:, rows])
        users = np.where(taken, user, self.user[:, rows]).astype(np.int16)
        if self.free.shape[0] > 1:
            order = np.argsort(free, axis=0, kind="stable")
            free = np.take_along_axis(free, order, axis=0)
            users = np.take_along_axis(users, order, axis=0)
        self.free[:, rows], self.user[:, rows] = free, users


class _Replay:
    """The state of all scenarios while tasks are placed, one in each scenario at a time."""

    def __init__(
        self,
        problem: Problem,
        order: list[int],
        hours: Mapping[str, WorkHours],
        gates: OwnGates,
        floors: IntArray | None,
    ) -> None:
        self.problem, self.order = problem, order
        self.works = [problem.tasks[n] for n in order]
        count = len(self.works)
        index = {work.id: n for n, work in enumerate(self.works)}
        found = [hours[work.id] for work in self.works]
        scenarios = max(gates.scenarios, *(one.scenarios for one in found))
        if not {gates.scenarios, *(one.scenarios for one in found)} <= {1, scenarios}:
            raise ValueError("masks and gates are not of as many scenarios")
        self.finder = Finder.of(found, [offered(work) for work in self.works], scenarios)
        questions = 1 if floors is None else floors.shape[0]
        self.rows = np.arange(questions * scenarios)
        self.scenario = self.rows % scenarios
        shape = (count, self.rows.size)
        self.ties = _Ties.of(problem, index, gates)
        floor = np.array([[max(work.not_before, 0)] for work in self.works], dtype=np.int32)
        self.low = np.broadcast_to(floor, shape).copy()
        if floors is not None:
            asked = floors.astype(np.int32).T[order]
            self.low = np.maximum(self.low, np.repeat(asked, scenarios, axis=1))
        for name, opens in gates.opens.items():
            first = _by_row(opens, self.scenario)
            self.low[index[name]] = np.maximum(self.low[index[name]], first)
        waits = np.bincount(self.ties.after, minlength=count)[:, None]
        self.missing = np.broadcast_to(waits, shape).astype(np.int16)
        self.cause = np.full(shape, -1, dtype=np.int16)
        self.start = np.full(shape, NEVER, dtype=np.int32)
        self.finish = np.full(shape, NEVER, dtype=np.int32)
        # the first start that can be, as things are, and when it is done then
        self.next = np.where(self.missing == 0, np.int32(UNKNOWN), np.int32(NEVER))
        self.over = np.full(shape, NEVER, dtype=np.int32)
        self.crews = {
            name: _Crew(size, self.rows.size) for name, size in problem.crews.items() if size
        }
        self.need = {
            name: np.array([work.crews.get(name, 0) for work in self.works])
            for name in problem.crews
        }
        self.before, self.after = _rivals(problem, self.works)

    def run(self) -> Replayed:
        """Place one task in every scenario until none can be placed."""
        for _ in self.works:
            self._look()
            chosen, rows = self._choose()
            if not rows.size:
                break
            self._place(chosen, rows)
        back = np.argsort(self.order)
        start, finish = (table[back].T.copy() for table in (self.start, self.finish))
        cause = np.where(self.cause >= 0, np.asarray(self.order)[self.cause], -1)
        tasks = self.problem.tasks
        closing = [n for n, work in enumerate(tasks) if work.closes] or list(range(len(tasks)))
        ends = finish[:, closing]
        return Replayed(
            ids=tuple(work.id for work in tasks),
            start=start,
            finish=finish,
            cause=cause[back].T.astype(np.int16),
            close_in=ends.max(axis=1),
            last=np.asarray(closing, dtype=np.int16)[ends.argmax(axis=1)],
        )

    def _look(self) -> None:
        """Look for the first start again where what was found has gone by."""
        low = self.low
        for name, need in self.need.items():
            low = np.maximum(low, self._freed(name)[need])
        self.next[low >= NEVER] = NEVER
        task, row = np.nonzero(low > self.next)
        if task.size:
            found = self.finder.first(task, self.scenario[row], low[task, row])
            self.next[task, row], self.over[task, row] = found

    def _freed(self, name: str) -> IntArray:
        """Return from when so many of a crew are free, by number from none: (numbers, rows)."""
        most = int(self.need[name].max(initial=0))
        out = np.full((most + 1, self.rows.size), NEVER, dtype=np.int32)
        out[0] = 0
        if name in self.crews:
            there = self.crews[name].free[:most]
            out[1 : there.shape[0] + 1] = there
        return out

    def _choose(self) -> tuple[Places, Places]:
        """Return the tasks to place and in which rows; rows where none can be are left out."""
        held = self.next.copy()
        alive = self.next.min(axis=1) < NEVER
        some = alive[self.before] & alive[self.after]
        if some.any():
            before, after = self.before[some], self.after[some]
            edges = np.flatnonzero(np.diff(after, prepend=-1))
            soonest = np.minimum.reduceat(self.next[before], edges, axis=0)
            who = after[edges]
            ends = np.minimum(self.over[who], self.next[who] + np.int32(KNOWN_H))
            held[who] = np.where(soonest < ends, NEVER, held[who])
        chosen = held.argmin(axis=0)
        rows = np.flatnonzero(held[chosen, self.rows] < NEVER)
        return chosen[rows], rows

    def _place(self, task: Places, rows: Places) -> None:
        """Place the chosen tasks, and open what comes after them."""
        start, end = self.next[task, rows], self.over[task, rows]
        self.start[task, rows], self.finish[task, rows] = start, end
        self.next[task, rows] = NEVER
        self._take(task, rows, end)
        tie, whose = self.ties.of_tasks(task)
        for turn in range(self.ties.turns):
            some = np.flatnonzero(self.ties.turn[tie] == turn)
            self._open(tie[some], task[whose[some]], rows[whose[some]])

    def _open(self, tie: Places, task: Places, rows: Places) -> None:
        """Move what comes after, each task at most once in a row, to what a tie leaves."""
        other = self.ties.after[tie]
        times = np.where(
            self.ties.from_start[tie], self.start[task, rows], self.finish[task, rows]
        )
        ready = self.ties.opened(tie, times, self.scenario[rows])
        low = self.low[other, rows]
        self.cause[other, rows] = np.where(ready > low, task, self.cause[other, rows])
        self.low[other, rows] = np.maximum(ready, low)
        left = self.missing[other, rows] - 1
        self.missing[other, rows] = left
        self.next[other, rows] = np.where(left == 0, np.int32(UNKNOWN), np.int32(NEVER))

    def _take(self, task: Places, rows: Places, end: IntArray) -> None:
        """Take the crews, and say which of their users a task waited for, if any."""
        bound = self.low[task, rows]
        for name, needs in self.need.items():
            some = np.flatnonzero(needs[task])
            if not some.size:
                continue
            crew, at, need = self.crews[name], rows[some], needs[task[some]]
            late = crew.free[need - 1, at] > bound[some]
            by = crew.user[need - 1, at]
            self.cause[task[some[late]], at[late]] = by[late]
            bound[some] = np.maximum(bound[some], crew.free[need - 1, at])
            crew.take(need, at, end[some], task[some])


def _by_row(values: IntArray, scenario: Places) -> IntArray:
    """Return values by scenario for each row; a single one for all."""
    return values[scenario if values.shape[0] > 1 else np.zeros_like(scenario)]


def _rivals(problem: Problem, works: list[Work]) -> tuple[Places, Places]:
    """Return pairs that cannot be under way at once, the one earlier in the plan first.

    Sorted by the later one.
    """
    pairs = [
        (one, other)
        for other, b in enumerate(works)
        for one, a in enumerate(works[:other])
        if any(
            number + b.crews.get(crew, 0) > problem.crews[crew]
            for crew, number in a.crews.items()
            if crew in b.crews
        )
    ]
    found = np.asarray(pairs, dtype=np.intp).reshape(-1, 2)
    return found[:, 0], found[:, 1]
