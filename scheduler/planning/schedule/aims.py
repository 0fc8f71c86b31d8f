"""What a plan is for, in turn: close in early, keep appointments, call few people, cost little.

Values are tuples in that order, so that comparing two plans is comparing two tuples.
"""

from __future__ import annotations

from typing import Final

from scheduler.planning.schedule.network import Placed, Problem, Rent, Work, cost_of
from scheduler.planning.schedule.reach import Net, Windows, close_in_bound
from scheduler.planning.schedule.serial import close_in

AIMS: Final = ("close_in", "appointments", "people", "cost")
Values = tuple[int, int, int, int]


def values_of(problem: Problem, net: Net, starts: list[int]) -> Values:
    """Return close-in hour, appointments moved, people to call and money of a plan."""
    moved = [
        work.booking.who
        for work, start in zip(problem.tasks, starts, strict=True)
        if work.booking is not None and start != work.booking.start
    ]
    placed = {
        id_: Placed(id_, start, net.finish[n][start])
        for n, (id_, start) in enumerate(zip(net.ids, starts, strict=True))
    }
    return close_in(net, starts), len(moved), len(set(moved)), cost_of(problem, placed)


def least_values(problem: Problem, net: Net, free: Windows) -> Values:
    """Return what no plan falls below, from the windows without crews."""
    forced = [
        work.booking.who
        for n, work in enumerate(problem.tasks)
        if work.booking is not None and not _keepable(net, free, n, work.booking.start)
    ]
    protection = sum(_least_cost(net, free, n, work) for n, work in enumerate(problem.tasks))
    rents = sum(_least_rent(problem, net, free, rent) for rent in problem.rents)
    return close_in_bound(net, free), len(forced), len(set(forced)), protection + rents


def _least_rent(problem: Problem, net: Net, free: Windows, rent: Rent) -> int:
    """Return what a rent cannot fall below: a day, or from its arrival to its earliest end."""
    if rent.since is None or problem.days is None:
        return rent.cost_per_day
    tasks = [net.ids.index(id_) for id_ in rent.tasks]
    last = max(net.finish[n][free.first[n]] for n in tasks) - 1
    begun = int(problem.days[last]) - int(problem.days[max(rent.since, 0)]) + 1
    return rent.cost_per_day * max(begun, 1)


def _keepable(net: Net, free: Windows, task: int, start: int) -> bool:
    return free.first[task] <= start <= free.last[task] and start in net.starts[task]


def _least_cost(net: Net, free: Windows, task: int, work: Work) -> int:
    if work.cost is None:
        return 0
    inside = [s for s in net.starts[task] if free.first[task] <= s <= free.last[task]]
    return min(int(work.cost[start]) for start in inside)
