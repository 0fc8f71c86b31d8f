"""The serial schedule: tasks put one after another into the first hours their crews are free.

Order comes from a rank; a task may slip into a gap before work already placed. The same from the
back puts every task into the last hours that still make a date. Where a successor must follow
soon and cannot, a pass names the task to hold back and is done again.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from heapq import heapify, heappop, heappush

from scheduler.planning.schedule.crew_hours import CrewHours
from scheduler.planning.schedule.reach import Bond, Net, follow
from scheduler.planning.tables.finish import NEVER

RESTARTS = 60  # of one pass, when a successor would come too late after its predecessor


def serial_pass(
    net: Net, rank: Sequence[float], floors: Sequence[int] | None = None
) -> list[int] | None:
    """Return the start of each task placed in order of rank, None where one finds no place.

    Parameters
    ----------
    net : Net
        The problem.
    rank : sequence of float
        By task; of those whose predecessors are placed the least comes next.
    floors : sequence of int, optional
        Hour before which each task is not placed.

    Returns
    -------
    list of int or None
        Starts by task index.
    """
    floor = [0] * len(net.ids) if floors is None else list(floors)
    for _ in range(RESTARTS):
        placed = _place_all(net, rank, floor)
        if isinstance(placed, list):
            return placed
        task, hour = placed
        if hour >= NEVER:
            return None
        floor[task] = hour
    return None


def _place_all(
    net: Net, rank: Sequence[float], floor: Sequence[int]
) -> list[int] | tuple[int, int]:
    """Place every task; else name the one that must start later, and from when."""
    crews = CrewHours(net)
    starts = [NEVER] * len(net.ids)
    waiting = [len(bonds) for bonds in net.into]
    heap = [(rank[task], task) for task, count in enumerate(waiting) if count == 0]
    heapify(heap)
    while heap:
        task = heappop(heap)[1]
        start = crews.first_fit(task, opened(net, task, starts, floor[task]))
        if start == NEVER:
            return task, NEVER
        late = _too_late(net, task, start, starts)
        if late is not None:
            return late
        starts[task] = start
        crews.take(task, start)
        for bond in net.out_of[task]:
            waiting[bond.after] -= 1
            if waiting[bond.after] == 0:
                heappush(heap, (rank[bond.after], bond.after))
    return starts


def opened(net: Net, task: int, starts: Sequence[int], low: int = 0) -> int:
    """Return the first hour, not before another, at which a task's predecessors let it start."""
    for bond in net.into[task]:
        low = max(low, bond.ready[counted(net, bond, starts[bond.before])])
    return low


def counted(net: Net, bond: Bond, start: int) -> int:
    """Return the hour from which a bond counts when its predecessor starts at another."""
    return start if bond.from_start else net.finish[bond.before][start]


def _too_late(net: Net, task: int, start: int, starts: list[int]) -> tuple[int, int] | None:
    """Return the predecessor that this start follows too late, and its next start to try."""
    for bond in net.into[task]:
        if bond.within is None:
            continue
        before = starts[bond.before]
        if start > counted(net, bond, before) + bond.within:
            later = max(follow(net, bond, start - bond.within), before + 1)
            return bond.before, net.next_start[bond.before][min(later, net.hours)]
    return None


def pass_from_back(net: Net, rank: Sequence[float], done: int) -> list[int] | None:
    """Return the start of each task placed as late as closing in by an hour allows.

    Parameters
    ----------
    net : Net
        The problem.
    rank : sequence of float
        By task; of those whose successors are placed the greatest comes next.
    done : int
        Hour by which every closing task must be over.

    Returns
    -------
    list of int or None
        Starts by task index, None where one finds no place.
    """
    ceiling = [net.hours] * len(net.ids)
    for _ in range(RESTARTS):
        placed = _place_from_back(net, rank, done, ceiling)
        if isinstance(placed, list):
            return placed
        task, hour = placed
        if hour < 0:
            return None
        ceiling[task] = hour
    return None


def _place_from_back(
    net: Net, rank: Sequence[float], done: int, ceiling: Sequence[int]
) -> list[int] | tuple[int, int]:
    """Place every task; else name the one that must start sooner, and by when."""
    crews = CrewHours(net)
    starts = [-1] * len(net.ids)
    waiting = [len(bonds) for bonds in net.out_of]
    heap = [(-rank[task], task) for task, count in enumerate(waiting) if count == 0]
    heapify(heap)
    while heap:
        task = heappop(heap)[1]
        start = _last_start(net, crews, task, starts, (ceiling[task], done))
        if start < 0:
            return task, -1
        for bond in net.out_of[task]:
            ref = counted(net, bond, start)
            if bond.within is not None and starts[bond.after] > ref + bond.within:
                return bond.after, ref + bond.within
        starts[task] = start
        crews.take(task, start)
        for bond in net.into[task]:
            waiting[bond.before] -= 1
            if waiting[bond.before] == 0:
                heappush(heap, (-rank[bond.before], bond.before))
    return starts


def _last_start(
    net: Net, crews: CrewHours, task: int, starts: Sequence[int], most: tuple[int, int]
) -> int:
    """Return the last start that opens every successor in time, -1 where there is none."""
    high, close_in_by = most
    done = close_in_by if net.closing[task] else net.hours
    for bond in net.out_of[task]:
        ref = bisect_right(bond.soonest, starts[bond.after]) - 1
        high, done = (min(high, ref), done) if bond.from_start else (high, min(done, ref))
    start = crews.last_fit(task, high, done)
    while start >= 0 and any(
        bond.ready[counted(net, bond, start)] > starts[bond.after] for bond in net.out_of[task]
    ):
        start = crews.last_fit(task, start - 1, done)  # a gate that falls: not open every hour
    return start


def close_in(net: Net, starts: Sequence[int]) -> int:
    """Return the hour by which every closing task is done."""
    return max((net.finish[n][s] for n, s in enumerate(starts) if net.closing[n]), default=0)
