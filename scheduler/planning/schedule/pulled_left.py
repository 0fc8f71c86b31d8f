"""A sound plan with every task as early as its crews, ties and its own cost let it."""

from __future__ import annotations

from collections.abc import Sequence

from scheduler.planning.schedule.crew_hours import CrewHours
from scheduler.planning.schedule.reach import Bond, Net
from scheduler.planning.schedule.serial import counted, opened
from scheduler.planning.tables.finish import NEVER


def pulled_left(
    net: Net, starts: Sequence[int], stay: set[int], cost: Sequence[Sequence[int] | None]
) -> list[int]:
    """Return the starts with every task as early as it may be.

    Parameters
    ----------
    net : Net
        The problem.
    starts : sequence of int
        A sound plan's starts by task index.
    stay : set of int
        Tasks that keep their start.
    cost : sequence
        Cost by start of each task, None where it has none; no task becomes dearer.
    """
    found = list(starts)
    crews = CrewHours(net)
    for task, start in enumerate(found):
        crews.take(task, start)
    moved = True
    while moved:
        moved = False
        for task in sorted(set(range(len(found))) - stay, key=lambda n: (found[n], n)):
            earlier = _earlier(net, crews, task, found, cost[task])
            moved |= earlier < found[task]
            found[task] = earlier
    return found


def _earlier(
    net: Net, crews: CrewHours, task: int, starts: list[int], cost: Sequence[int] | None
) -> int:
    """Return the first start not later than the task's own that breaks nothing."""
    now = starts[task]
    crews.give(task, now)
    start = crews.first_fit(task, opened(net, task, starts))
    while start < now:
        dear = cost is not None and cost[start] > cost[now]
        if not dear and all(_holds(net, bond, start, starts) for bond in net.out_of[task]):
            break
        start = crews.first_fit(task, start + 1)
    crews.take(task, start)
    return start


def _holds(net: Net, bond: Bond, start: int, starts: list[int]) -> bool:
    """Return whether a bond holds with its predecessor at another start."""
    ref = counted(net, bond, start)
    latest = NEVER if bond.within is None else ref + bond.within
    return bond.ready[ref] <= starts[bond.after] <= latest
