"""Whole-number tables: when work begun at an hour is done, and what that opens.

Hours are whole numbers counted from a stated hour zero: hour ``h`` lasts from zero + h to
zero + h + 1. ``finish[..., start]`` is the hour at whose beginning work begun at ``start`` is
over, so that the work's last hour is ``finish - 1``; ``ready[..., finish]`` is the first hour at
which the successor may begin. ``NEVER`` stands where there is none; small sums of it do not
overflow. Leading axes are scenarios; time is the last axis.

Where work fits is found on bits (``hour_bits.py``); the finish of work with pauses is the hour in
which it gets on for the last time, so many such hours further.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.tables.hour_bits import Words, later, packed, spread, unbroken, unpacked

IntArray = NDArray[np.int32]
FlatArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

NEVER: Final = 2**30


@dataclass(frozen=True, slots=True)
class Effort:
    """How much work a task is and how it may be cut into pieces, in whole hours.

    Each piece, the first one too, costs ``set_up`` before and ``cover_up`` after it, inside
    usable hours. A piece with fewer than ``least_piece`` hours of work in it is not begun.
    """

    hours: int
    may_pause: bool = False
    least_piece: int = 1
    set_up: int = 0
    cover_up: int = 0

    def __post_init__(self) -> None:
        if min(self.hours, self.set_up, self.cover_up) < 0 or self.least_piece < 1:
            raise ValueError(f"{self} has negative hours or no least piece")

    @property
    def pauses(self) -> bool:
        """Tell whether its hours may lie apart."""
        return self.may_pause and self.hours > 0

    @property
    def around(self) -> int:
        """Return the hours that each piece costs besides its work."""
        return self.set_up + self.cover_up

    @property
    def least_run(self) -> int:
        """Return the unbroken usable hours without which the task is not begun."""
        piece = min(self.least_piece, self.hours) if self.may_pause else self.hours
        return piece + self.around


def start_hours(usable: Words, effort: Effort) -> Words:
    """Return the hours at which work may begin: all of it fits there, or its least piece does."""
    return unbroken(usable, max(effort.least_run, 1))


def work_hours(usable: Words, effort: Effort) -> Words:
    """Return the hours in which work with pauses gets on: without setting up and covering."""
    run = max(effort.least_run, 1)
    useful = spread(unbroken(usable, run), run)
    return later(unbroken(useful, effort.around + 1), effort.set_up) if effort.around else useful


def finish_table(
    workable: BoolArray,
    shift: BoolArray,
    effort: Effort,
    *,
    may_start: BoolArray | None = None,
) -> IntArray:
    """Return the finish of every start hour.

    Parameters
    ----------
    workable : (..., hours)
        Hours with verdict go or go with protection and the measures to be had, in daylight
        where the work asks for it.
    shift : (hours,)
        Hours the crew works. Work that may not pause needs its hours unbroken in these.
    effort : Effort
        Length of the work and how it may be cut.
    may_start : (..., hours), optional
        False removes a start, for what binds by the hour of starting: a night after it that the
        work would not survive.

    Returns
    -------
    (..., hours)
        Finish, rising over permitted starts; NEVER where work may not start or is not over
        within the hours.
    """
    usable = packed(workable) & packed(shift)
    hours = np.arange(shift.size, dtype=np.int32)
    starts = unpacked(start_hours(usable, effort), shift.size)
    if may_start is not None:
        starts = starts & may_start
    if not effort.pauses:
        return np.where(starts, hours + np.int32(effort.hours + effort.around), np.int32(NEVER))
    spans = _spans(unpacked(work_hours(usable, effort), shift.size), effort)
    return np.where(starts & (spans <= shift.size - hours), hours + spans, np.int32(NEVER))


def _spans(gets_on: BoolArray, effort: Effort) -> IntArray:
    """Return the hours from each start to its finish; too many where its row ends before."""
    spans = np.full(gets_on.size, NEVER, dtype=np.int32)
    at = np.flatnonzero(gets_on)
    first, last = at[: max(at.size - effort.hours + 1, 0)], at[effort.hours - 1 :]
    spans[first - effort.set_up] = last - first + (1 + effort.around)
    return spans.reshape(gets_on.shape)


def earliest(table: IntArray) -> IntArray:
    """Return the least entry at or after each hour, which rises whatever the table does."""
    flipped = np.minimum.accumulate(table[..., ::-1], axis=-1)
    return np.ascontiguousarray(flipped[..., ::-1])


def next_start(finish: IntArray) -> IntArray:
    """Return the first permitted start at or after each hour, NEVER where there is none."""
    hours = np.arange(finish.shape[-1], dtype=np.int32)
    return earliest(np.where(finish < NEVER, hours, np.int32(NEVER)))


def ready_after(hours: int, wait: int) -> IntArray:
    """Return ``ready[finish]`` of a wait in elapsed hours, for finishes 0 to ``hours``."""
    return np.arange(hours + 1, dtype=np.int32) + np.int32(wait)


def ready_after_shifts(shift: BoolArray, wait: int) -> IntArray:
    """Return ``ready[finish]`` of a wait in working hours.

    Parameters
    ----------
    shift : (hours,)
        Hours that count.
    wait : int
        How many of them must pass.

    Returns
    -------
    (hours + 1,)
        Hour after the last of them; NEVER where the hours end before.
    """
    if wait == 0:
        return ready_after(shift.size, 0)
    counted = np.concatenate(([0], np.cumsum(shift)))
    ends = np.append(np.flatnonzero(shift) + 1, np.full(wait, NEVER))
    ready: IntArray = ends[counted + wait - 1].astype(np.int32)
    return ready


def whole_hours(hours: float) -> int:
    """Return hours as a whole number, rounded up; a millionth of an hour is not one more."""
    return int(np.ceil(hours - 1e-6))
