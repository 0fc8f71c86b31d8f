"""Which crews are taken in which hours, and the nearest place where a task still fits."""

from __future__ import annotations

from bisect import bisect_right
from functools import cache

from scheduler.planning.schedule.reach import Net
from scheduler.planning.tables.finish import NEVER

COUNTED = 256  # values of a byte: more of one crew than 255 are not told apart


@cache
def _too_many(room: int) -> bytes:
    """Return for each count of an hour whether it leaves no room: 1 or 0."""
    return bytes(used > room for used in range(COUNTED))


@cache
def _counted(number: int) -> bytes:
    """Return for each count of an hour what it becomes when so many more are taken."""
    return bytes(min(max(used + number, 0), COUNTED - 1) for used in range(COUNTED))


class CrewHours:
    """How many of each crew are taken in each hour; a byte an hour, searched at C speed."""

    def __init__(self, net: Net) -> None:
        self.net = net
        self.taken = [bytearray(net.hours) for _ in net.capacity]

    def _busy(self, crew: int, number: int, start: int, finish: int) -> bytes | bytearray:
        """Return the hours from start to finish, 1 where so many do not fit."""
        hours = self.taken[crew][start:finish]
        if self.net.capacity[crew] == 1 == number:
            return hours
        return hours.translate(_too_many(self.net.capacity[crew] - number))

    def last_clash(self, task: int, start: int, finish: int) -> int:
        """Return the last hour in which a task's crews are not free, -1 where they all are."""
        last = -1
        for crew, number in self.net.crews[task]:
            busy = self._busy(crew, number, start, finish).rfind(1)
            if busy >= 0:
                last = max(last, start + busy)
        return last

    def first_clash(self, task: int, start: int, finish: int) -> int:
        """Return the first hour in which a task's crews are not free, NEVER where they all are."""
        first = NEVER
        for crew, number in self.net.crews[task]:
            busy = self._busy(crew, number, start, finish).find(1)
            if busy >= 0:
                first = min(first, start + busy)
        return first

    def take(self, task: int, start: int) -> None:
        """Take a task's crews from a start to its finish."""
        self._count(task, start, 1)

    def give(self, task: int, start: int) -> None:
        """Give back what a task took from a start to its finish."""
        self._count(task, start, -1)

    def _count(self, task: int, start: int, sign: int) -> None:
        finish = self.net.finish[task][start]
        for crew, number in self.net.crews[task]:
            hours = self.taken[crew]
            hours[start:finish] = hours[start:finish].translate(_counted(sign * number))

    def first_fit(self, task: int, low: int) -> int:
        """Return the first start at or after an hour at which the crews are free, or NEVER.

        Between a start and the last hour that clashes no later start can do: finishes rise, so
        each would run over that hour too.
        """
        while low <= self.net.hours:
            start = self.net.next_start[task][low]
            if start == NEVER:
                return NEVER
            clash = self.last_clash(task, start, self.net.finish[task][start])
            if clash < 0:
                return start
            low = clash + 1
        return NEVER

    def last_fit(self, task: int, high: int, done: int) -> int:
        """Return the last start at or before an hour, over by another, or -1.

        Parameters
        ----------
        task : int
        high : int
            Hour after which the task may not start.
        done : int
            Hour by which it must be over.
        """
        starts, ends = self.net.starts[task], self.net.ends[task]
        while True:
            at = min(bisect_right(ends, done), bisect_right(starts, high)) - 1
            if at < 0:
                return -1
            clash = self.first_clash(task, starts[at], ends[at])
            if clash == NEVER:
                return starts[at]
            done = clash
