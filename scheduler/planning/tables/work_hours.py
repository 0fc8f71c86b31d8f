"""When a task can begin at an hour and is done, in every scenario, found only where it is asked.

The starts a task may have are one row of bits a scenario, the hours in which it gets on another;
the next start is the next set bit, the finish the bit so many set ones further. No table of every
start is made: see ``tables.finish_table`` for that one, which gives the same hours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.tables.finish import (
    NEVER,
    BoolArray,
    Effort,
    FlatArray,
    IntArray,
    start_hours,
    work_hours,
)
from scheduler.planning.tables.hour_bits import WORD, Counted, Words, packed

Places = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class WorkHours:
    """What a task's weather, crew and length leave it, in every scenario or in all alike."""

    workable: BoolArray  # (scenarios, hours) or (hours,): verdicts let it be under way
    shift: BoolArray  # (hours,) the crew works
    effort: Effort
    may_start: BoolArray | None = None  # (scenarios, hours) or (hours,)

    @property
    def scenarios(self) -> int:
        """Return how many scenarios it tells apart."""
        masks = [self.workable] if self.may_start is None else [self.workable, self.may_start]
        return max(len(np.atleast_2d(mask)) for mask in masks)

    def first(self, count: int) -> WorkHours:
        """Return the first so many scenarios."""
        may = None if self.may_start is None else np.atleast_2d(self.may_start)[:count]
        return replace(self, workable=np.atleast_2d(self.workable)[:count], may_start=may)

    def begun(self, may_start: BoolArray) -> WorkHours:
        """Return the hours with starts taken out: (hours,) or (scenarios, hours)."""
        both = may_start if self.may_start is None else self.may_start & may_start
        return replace(self, may_start=both)

    def usable(self) -> Words:
        """Return the hours in which crew and weather let it be under way: (scenarios, words)."""
        return np.atleast_2d(packed(self.workable)) & packed(self.shift)

    def starts(self, usable: Words) -> Words:
        """Return the hours at which it may begin: (scenarios, words)."""
        found = start_hours(usable, self.effort)
        return found if self.may_start is None else found & packed(self.may_start)


@dataclass(frozen=True, slots=True)
class Finder:
    """All tasks together, so that any number of questions is one search."""

    hours: int
    scenarios: int
    stride: int  # bits of one row
    starts: Counted  # rows by task, then scenario
    work: Counted  # rows by task that pauses, then scenario
    slot: Places  # (tasks,) place among those that pause, -1
    at_once: FlatArray  # (tasks,) hours from start to finish without a pause
    effort_h: FlatArray  # (tasks,)
    set_up: FlatArray
    cover_up: FlatArray

    @classmethod
    def of(
        cls, works: Sequence[WorkHours], offered: Sequence[BoolArray], scenarios: int
    ) -> Finder:
        """Return the finder of some tasks.

        Parameters
        ----------
        works : WorkHours
            By task.
        offered : (hours,)
            By task: starts left by appointments and the like.
        scenarios : int
            Rows; a task that has one alone has it in each.
        """
        hours = works[0].shift.size
        pausing = [n for n, work in enumerate(works) if work.effort.pauses]
        slot = np.full(len(works), -1, dtype=np.intp)
        slot[pausing] = np.arange(len(pausing))
        width = hours // WORD + 1
        starts = np.empty((len(works), scenarios, width), dtype=np.uint64)
        gets_on = np.empty((len(pausing), scenarios, width), dtype=np.uint64)
        for n, work in enumerate(works):
            usable = work.usable()
            starts[n] = work.starts(usable) & packed(offered[n])
            if slot[n] >= 0:
                gets_on[slot[n]] = work_hours(usable, work.effort)
        efforts = [work.effort for work in works]
        return cls(
            hours=hours,
            scenarios=scenarios,
            stride=width * WORD,
            starts=Counted.of(starts),
            work=Counted.of(gets_on),
            slot=slot,
            at_once=np.array([effort.hours + effort.around for effort in efforts]),
            effort_h=np.array([effort.hours for effort in efforts]),
            set_up=np.array([effort.set_up for effort in efforts]),
            cover_up=np.array([effort.cover_up for effort in efforts]),
        )

    def first(self, task: Places, scenario: Places, low: IntArray) -> tuple[IntArray, IntArray]:
        """Return the first start at or after an hour from which the task is done, and when it is.

        Parameters
        ----------
        task, scenario, low : (n,)
            Which task in which scenario, from which hour on.

        Returns
        -------
        (n,), (n,)
            Start and finish, ``NEVER`` where there is none within the hours.
        """
        row = (task * self.scenarios + scenario) * self.stride
        at = row + np.minimum(low, self.hours)  # the bit after the last hour is clear
        start = self.starts.place(self.starts.count(at)) - row
        finish = start + self.at_once[task]
        found = start < self.hours
        some = np.flatnonzero(found & (self.slot[task] >= 0))
        if some.size:
            finish[some] = self._paused(task[some], scenario[some], start[some])
        found &= finish < NEVER
        return (
            np.where(found, start, NEVER).astype(np.int32),
            np.where(found, finish, NEVER).astype(np.int32),
        )

    def _paused(self, task: Places, scenario: Places, start: FlatArray) -> FlatArray:
        row = (self.slot[task] * self.scenarios + scenario) * self.stride
        number = self.work.count(row + start + self.set_up[task]) + self.effort_h[task] - 1
        last = self.work.place(number) - row
        return np.where(last < self.hours, last + 1 + self.cover_up[task], NEVER)
