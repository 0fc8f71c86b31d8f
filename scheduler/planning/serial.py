"""The serial schedule: tasks put one after another into the first hours their crews are free.

Order comes from priority rules; a task may slip into a gap before work already placed. The best
of many passes bounds the solver from above, and where it meets the bound without crews it is
proven best with no solver at all.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from heapq import heappop, heappush

import numpy as np

from scheduler.planning.reach import Bond, Net, Windows, follow
from scheduler.planning.tables import NEVER

SEED = 20261125  # of the noise on priorities; fixed, so that the same inputs give the same plan
RESTARTS = 60  # of one pass, when a successor would come too late after its predecessor


class CrewHours:
    """How many of each crew are taken in each hour; a byte an hour, searched at C speed."""

    def __init__(self, net: Net) -> None:
        self.capacity = net.capacity
        self.taken = [bytearray(net.hours) for _ in net.capacity]
        self.over: dict[tuple[int, int], bytes] = {}  # crew, demand -> hours that do not fit
        self.plus: dict[int, bytes] = {}  # signed number -> what an hour's count becomes
        for crew, number in {need for needs in net.crews for need in needs}:
            room = self.capacity[crew] - number
            self.over[crew, number] = bytes(used > room for used in range(256))
            self.plus[number] = bytes(min(used + number, 255) for used in range(256))
            self.plus[-number] = bytes(max(used - number, 0) for used in range(256))

    def clash(self, needs: Sequence[tuple[int, int]], start: int, finish: int) -> int:
        """Return the last hour in which the needs do not fit, -1 where they all do."""
        last = -1
        for need in needs:
            busy = self.taken[need[0]][start:finish].translate(self.over[need]).rfind(1)
            if busy >= 0:
                last = max(last, start + busy)
        return last

    def take(self, needs: Sequence[tuple[int, int]], start: int, finish: int) -> None:
        """Take the needs for the hours from start to finish."""
        for crew, number in needs:
            hours = self.taken[crew]
            hours[start:finish] = hours[start:finish].translate(self.plus[number])

    def give(self, needs: Sequence[tuple[int, int]], start: int, finish: int) -> None:
        """Give back what was taken for the hours from start to finish."""
        self.take([(crew, -number) for crew, number in needs], start, finish)


def first_fit(net: Net, crews: CrewHours, task: int, low: int) -> int:
    """Return the first start at or after an hour at which the crews are free, or NEVER.

    Between a start and the last hour that clashes no later start can do: finishes rise, so each
    would run over that hour too.
    """
    while low <= net.hours:
        start = net.next_start[task][low]
        if start == NEVER:
            return NEVER
        clash = crews.clash(net.crews[task], start, net.finish[task][start])
        if clash < 0:
            return start
        low = clash + 1
    return NEVER


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


def _place_all(net: Net, rank: Sequence[float], floor: list[int]) -> list[int] | tuple[int, int]:
    """Place every task; else name the one that must start later, and from when."""
    crews = CrewHours(net)
    starts = [NEVER] * len(net.ids)
    waiting = [len(bonds) for bonds in net.into]
    heap: list[tuple[float, int]] = []
    for task, count in enumerate(waiting):
        if count == 0:
            heappush(heap, (rank[task], task))
    while heap:
        task = heappop(heap)[1]
        low = max([floor[task], *(bond.ready[_ref(net, bond, starts)] for bond in net.into[task])])
        start = first_fit(net, crews, task, low)
        if start == NEVER:
            return task, NEVER
        late = _too_late(net, task, start, starts)
        if late is not None:
            return late
        starts[task] = start
        crews.take(net.crews[task], start, net.finish[task][start])
        for bond in net.out_of[task]:
            waiting[bond.after] -= 1
            if waiting[bond.after] == 0:
                heappush(heap, (rank[bond.after], bond.after))
    return starts


def _ref(net: Net, bond: Bond, starts: list[int]) -> int:
    start = starts[bond.before]
    return start if bond.from_start else net.finish[bond.before][start]


def _too_late(net: Net, task: int, start: int, starts: list[int]) -> tuple[int, int] | None:
    """Return the predecessor that this start follows too late, and its next start to try."""
    for bond in net.into[task]:
        if bond.within is not None and start > _ref(net, bond, starts) + bond.within:
            later = max(follow(net, bond, start - bond.within), starts[bond.before] + 1)
            return bond.before, net.next_start[bond.before][min(later, net.hours)]
    return None


def ranks(net: Net, span: Windows, passes: int) -> Iterator[list[float]]:
    """Yield priorities: least last start, last finish, slack; then the first with noise on it."""
    last = np.array(span.last, dtype=np.float64)
    ends = np.array([net.finish[n][start] for n, start in enumerate(span.last)], dtype=np.float64)
    for plain in (last, ends, last - np.array(span.first)):
        yield plain.tolist()
    rng = np.random.default_rng(SEED)
    spread = 0.15 * max(float(np.ptp(last)), 1.0)
    for _ in range(passes):
        yield (last + rng.normal(0.0, spread, last.size) * rng.random()).tolist()


def close_in(net: Net, starts: Sequence[int]) -> int:
    """Return the hour by which every closing task is done."""
    return max((net.finish[n][s] for n, s in enumerate(starts) if net.closing[n]), default=0)


def best_serial(net: Net, span: Windows, *, bound: int, passes: int = 200) -> list[int] | None:
    """Return the starts of the pass that closes in first, stopping where one meets the bound.

    Parameters
    ----------
    net : Net
        The problem.
    span : Windows
        Windows without crews.
    bound : int
        Hour before which no plan closes in.
    passes : int
        How many passes with noise on the priorities.

    Returns
    -------
    list of int or None
        Starts by task index, None where no pass placed every task.
    """
    best: list[int] | None = None
    value = NEVER
    for rank in ranks(net, span, passes):
        starts = serial_pass(net, rank)
        if starts is not None and close_in(net, starts) < value:
            best, value = starts, close_in(net, starts)
        if value <= bound:
            break
    return best


def pulled_left(
    net: Net, starts: Sequence[int], stay: set[int], cost: Sequence[Sequence[int] | None]
) -> list[int]:
    """Return the starts with every task as early as its crews, ties and its own cost let it.

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
        crews.take(net.crews[task], start, net.finish[task][start])
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
    crews.give(net.crews[task], now, net.finish[task][now])
    low = max([0, *(bond.ready[_ref(net, bond, starts)] for bond in net.into[task])])
    start = first_fit(net, crews, task, low)
    while start < now:
        dear = cost is not None and cost[start] > cost[now]
        if not dear and all(_holds(net, bond, start, starts) for bond in net.out_of[task]):
            break
        start = first_fit(net, crews, task, start + 1)
    crews.take(net.crews[task], start, net.finish[task][start])
    return start


def _holds(net: Net, bond: Bond, start: int, starts: list[int]) -> bool:
    """Return whether a bond holds with its predecessor at another start."""
    ref = start if bond.from_start else net.finish[bond.before][start]
    latest = NEVER if bond.within is None else ref + bond.within
    return bond.ready[ref] <= starts[bond.after] <= latest
