"""The work-time axis: only the hours in which some task can begin or end, numbered from zero.

Nights and weekends drop out, so that most tasks have one length. Two tasks overlap in slots
exactly when they overlap in hours: every start is an hour of the axis, and so is the last hour
of every piece of work. Crews with different calendars share the axis of their union; what one
of them does not work is missing from its tasks' starts and longer in their lengths.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scheduler.planning.schedule.network import Problem
from scheduler.planning.schedule.reach import Net, Windows
from scheduler.planning.tables.finish import NEVER, FlatArray


@dataclass(frozen=True, slots=True)
class Axis:
    """Hours of the axis, rising."""

    hours: FlatArray  # (slots,)

    def slot(self, hour: FlatArray | int) -> FlatArray:
        """Return how many hours of the axis lie before an hour: its slot, if it is one of them."""
        return np.searchsorted(self.hours, hour, side="left")

    def done(self, slot: int) -> int:
        """Return the hour at which work ending before a slot is over."""
        return int(self.hours[slot - 1]) + 1 if slot > 0 else 0


@dataclass(frozen=True, slots=True)
class Span:
    """Where one task can lie on the axis."""

    start: FlatArray  # slots of its possible starts, rising
    end: FlatArray  # slots of their finishes
    hour: FlatArray  # the start hours
    finish: FlatArray  # the finish hours


def axis_of(problem: Problem, net: Net) -> Axis:
    """Return the axis of a problem.

    A closing task without length ends where it starts, at a night or weekend as well: then every
    hour is kept.
    """
    milestone = any(
        closing and starts and ends and starts[0] == ends[0]
        for closing, starts, ends in zip(net.closing, net.starts, net.ends, strict=True)
    )
    if milestone:
        return Axis(np.arange(problem.hours + 1, dtype=np.int64))
    hours: set[int] = set()
    for work, starts, ends in zip(problem.tasks, net.starts, net.ends, strict=True):
        hours.update(starts)
        hours.update(end - 1 for end, start in zip(ends, starts, strict=True) if end > start)
        if work.fair is not None:
            begun = np.flatnonzero(work.fair < NEVER)
            hours.update(begun.tolist())
            hours.update((np.maximum(work.fair[begun], begun + 1) - 1).tolist())
    return Axis(np.array(sorted(hours), dtype=np.int64))


def spans_of(net: Net, axis: Axis, windows: Windows) -> list[Span]:
    """Return where each task can lie within its window."""
    spans = []
    for starts, ends, first, last in zip(
        net.starts, net.ends, windows.first, windows.last, strict=True
    ):
        hour = np.array(starts, dtype=np.int64)
        inside = (hour >= first) & (hour <= last)
        finish = np.array(ends, dtype=np.int64)[inside]
        hour = hour[inside]
        spans.append(Span(axis.slot(hour), axis.slot(finish), hour, finish))
    return spans
