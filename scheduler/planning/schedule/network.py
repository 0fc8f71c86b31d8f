"""What is to be planned, in whole hours: tasks, what ties them, crews; and the plan made of it.

Tasks that are done are not here: what they bind stands in their successors' ``not_before``.
Everything a solver sees is a whole number; see ``tables.py`` for what the tables mean.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from scheduler.planning.tables.finish import NEVER, BoolArray, IntArray


@dataclass(frozen=True, slots=True)
class Booking:
    """A time agreed with somebody outside the job."""

    who: str
    start: int  # the agreed hour
    slots: tuple[int, ...] = ()  # the other hours they offer; none named: any later hour
    earliest_move: int = 0  # before this hour nothing new can be agreed: their notice


@dataclass(frozen=True, slots=True)
class Work:
    """One task still to do, or what is left of one under way."""

    id: str
    finish: IntArray  # (hours,) by calendar and weather
    crews: Mapping[str, int] = field(default_factory=dict)  # how many of each crew
    closes: bool = False  # close-in waits for it
    not_before: int = 0
    starts: tuple[int, ...] = ()  # the only hours offered; none named: any
    booking: Booking | None = None
    cost: IntArray | None = None  # (hours,) protection, in whole money, by start
    fair: IntArray | None = None  # (hours,) finish were every hour's weather fit


@dataclass(frozen=True, slots=True)
class Tie:
    """A predecessor: waits, gates and 'not more than so many hours after' in one shape."""

    before: str
    after: str
    ready: IntArray  # (hours + 1,) first start of ``after`` by the hour ``before`` ends
    from_start: bool = False  # count from the hour ``before`` starts
    within: int | None = None  # ``after`` starts at most so many hours later
    gated: bool = False  # a strength gate: a replay has hours of its own for each scenario


@dataclass(frozen=True, slots=True)
class Rent:
    """Equipment paid by the local day from the first start to the last finish of its tasks."""

    id: str
    tasks: tuple[str, ...]
    cost_per_day: int
    since: int | None = None  # on site since this hour, which may lie before hour zero


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything that binds the plan."""

    hours: int
    tasks: tuple[Work, ...]
    ties: tuple[Tie, ...] = ()
    crews: Mapping[str, int] = field(default_factory=dict)  # how many there are of each
    rents: tuple[Rent, ...] = ()
    days: IntArray | None = None  # (hours + 1,) local day by hour; needed for rents

    def __post_init__(self) -> None:
        known = {work.id for work in self.tasks}
        if len(known) != len(self.tasks):
            raise ValueError("two tasks have the same id")
        for tie in self.ties:
            if not {tie.before, tie.after} <= known:
                raise ValueError(f"tie {tie.before} to {tie.after} names an unknown task")
            if tie.ready.shape != (self.hours + 1,):
                raise ValueError(f"tie {tie.before} to {tie.after} wants {self.hours + 1} hours")
        for work in self.tasks:
            if work.finish.shape != (self.hours,):
                raise ValueError(f"task {work.id} wants a table of {self.hours} hours")
            if missing := set(work.crews) - set(self.crews):
                raise ValueError(f"task {work.id} names unknown crews {sorted(missing)}")


class Status(StrEnum):
    """How much is known of a plan."""

    PROVEN = "proven"  # no plan closes in earlier
    BOUNDED = "bounded"  # feasible; nothing closes in before ``bound``
    INFEASIBLE = "infeasible"  # proven that there is no plan
    NOT_FOUND = "not_found"  # none found within the limit


@dataclass(frozen=True, slots=True)
class Placed:
    """One task in a plan."""

    id: str
    start: int
    finish: int


@dataclass(frozen=True, slots=True)
class Plan:
    """Start and finish of every task, and how far it is proven best."""

    status: Status
    placed: tuple[Placed, ...]  # in the problem's order; empty without a plan
    close_in: int  # hour by which every closing task is done; NEVER without a plan
    bound: int  # no plan closes in before this hour
    moved: tuple[str, ...] = ()  # tasks whose appointment is not kept
    cost: int = 0  # protection and rent, in whole money
    settled: tuple[str, ...] = ()  # aims proven as good as can be, in turn: close_in, ...
    proof: str = ""  # what proves it, in plain words

    def starts(self) -> dict[str, int]:
        """Return the start hour of each task."""
        return {placed.id: placed.start for placed in self.placed}

    def finishes(self) -> dict[str, int]:
        """Return the finish hour of each task."""
        return {placed.id: placed.finish for placed in self.placed}


def permitted(work: Work) -> IntArray:
    """Return the finish table with the starts taken out that are not offered: ``(hours,)``."""
    return np.where(offered(work), work.finish, NEVER).astype(np.int32)


def offered(work: Work) -> BoolArray:
    """Return the starts that a task's earliest hour and its appointment leave: ``(hours,)``."""
    hours = np.arange(work.finish.size, dtype=np.int32)
    open_: BoolArray = hours >= work.not_before
    if work.starts:
        open_ &= np.isin(hours, work.starts)
    if work.booking is not None:
        open_ &= _bookable(work.booking, hours)
    return open_


def _bookable(booking: Booking, hours: IntArray) -> BoolArray:
    """Return the hours that are agreed or can still be agreed."""
    offered = np.isin(hours, booking.slots) if booking.slots else hours > booking.start
    agreed: BoolArray = hours == booking.start
    return agreed | (offered & (hours >= booking.earliest_move))


def topological(problem: Problem) -> list[int]:
    """Return task indices so that each stands after its predecessors.

    Raises
    ------
    ValueError
        If predecessors run in a circle.
    """
    index = {work.id: n for n, work in enumerate(problem.tasks)}
    after: list[list[int]] = [[] for _ in problem.tasks]
    waiting = [0] * len(problem.tasks)
    for tie in problem.ties:
        after[index[tie.before]].append(index[tie.after])
        waiting[index[tie.after]] += 1
    order = [n for n, count in enumerate(waiting) if count == 0]
    for n in order:
        for successor in after[n]:
            waiting[successor] -= 1
            if waiting[successor] == 0:
                order.append(successor)
    if len(order) != len(problem.tasks):
        stuck = sorted(problem.tasks[n].id for n, count in enumerate(waiting) if count)
        raise ValueError(f"predecessors run in a circle among {stuck}")
    return order


def close_in_of(problem: Problem, finishes: Mapping[str, int]) -> int:
    """Return the hour by which every closing task is done; of all tasks where none closes."""
    closing = [work.id for work in problem.tasks if work.closes]
    return max((finishes[id_] for id_ in closing or finishes), default=0)


def moved_of(problem: Problem, starts: Mapping[str, int]) -> tuple[str, ...]:
    """Return the tasks whose appointment is not kept."""
    return tuple(
        work.id
        for work in problem.tasks
        if work.booking is not None and starts[work.id] != work.booking.start
    )


def cost_of(problem: Problem, placed: Mapping[str, Placed]) -> int:
    """Return what protection and rent cost, in whole money."""
    protection = sum(
        int(work.cost[placed[work.id].start]) for work in problem.tasks if work.cost is not None
    )
    return protection + sum(rent_cost(problem, rent, placed) for rent in problem.rents)


def rent_cost(problem: Problem, rent: Rent, placed: Mapping[str, Placed]) -> int:
    """Return what one piece of equipment costs: every local day begun, first and last too."""
    if problem.days is None:
        raise ValueError("rents want the local day of each hour")
    rows = [placed[id_] for id_ in rent.tasks]
    first = min(row.start for row in rows) if rent.since is None else max(rent.since, 0)
    last = max(row.finish for row in rows) - 1
    return rent.cost_per_day * (int(problem.days[last]) - int(problem.days[first]) + 1)
