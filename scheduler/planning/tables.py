"""Whole-number tables: when work begun at an hour is done, and what that opens.

Hours are whole numbers counted from a stated hour zero: hour ``h`` lasts from zero + h to
zero + h + 1. ``finish[..., start]`` is the hour at whose beginning work begun at ``start`` is
over, so that the work's last hour is ``finish - 1``; ``ready[..., finish]`` is the first hour at
which the successor may begin. ``NEVER`` stands where there is none; small sums of it do not
overflow. Leading axes are scenarios; time is the last axis.

Weather comes in as runs: unbroken spans of usable hours, all rows in one flat list. There are an
order of magnitude fewer runs than hours, which is what makes 600 scenarios cheap.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

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
    def around(self) -> int:
        """Return the hours that each piece costs besides its work."""
        return self.set_up + self.cover_up

    @property
    def least_run(self) -> int:
        """Return the unbroken usable hours without which the task is not begun."""
        piece = min(self.least_piece, self.hours) if self.may_pause else self.hours
        return piece + self.around


@dataclass(frozen=True, slots=True)
class Runs:
    """Unbroken spans of usable hours.

    A position is ``row * stride + hour``; the stride is one more than the hours, so that runs of
    two rows never touch. ``begin`` and ``end`` rise; hour ``end`` is not in the run.
    """

    begin: FlatArray  # (runs,)
    end: FlatArray  # (runs,)
    lead: tuple[int, ...]  # shape of the leading axes
    hours: int

    @property
    def stride(self) -> int:
        """Return the distance of the same hour in two neighbouring rows."""
        return self.hours + 1


@dataclass(frozen=True, slots=True)
class Pieces:
    """Runs in which a task can do something, and the work they hold."""

    effort: Effort
    runs: Runs  # only those not shorter than the effort's least run
    work: FlatArray  # (runs + 1,) hours of work held by the runs before this one


def runs_of(usable: BoolArray) -> Runs:
    """Return the unbroken spans of usable hours of a mask ``(..., hours)``."""
    hours = usable.shape[-1]
    rows = usable.size // hours if hours else 0
    padded = np.zeros(1 + rows * (hours + 1), dtype=np.bool_)
    padded[1:].reshape(rows, hours + 1)[:, :hours] = usable.reshape(rows, hours)
    edges = np.flatnonzero(padded[1:] != padded[:-1])
    return Runs(begin=edges[::2], end=edges[1::2], lead=usable.shape[:-1], hours=hours)


def pieces_of(runs: Runs, effort: Effort) -> Pieces:
    """Return the runs of use to an effort; for a task without pause those that hold all of it."""
    kept = np.flatnonzero(runs.end - runs.begin >= max(effort.least_run, 1))
    useful = Runs(runs.begin[kept], runs.end[kept], runs.lead, runs.hours)
    work = np.zeros(kept.size + 1, dtype=np.int64)
    np.cumsum(useful.end - useful.begin - effort.around, out=work[1:])
    return Pieces(effort=effort, runs=useful, work=work)


def first_start(pieces: Pieces, position: FlatArray) -> FlatArray:
    """Return the first permitted start at or after a position, NEVER where its row has none.

    Parameters
    ----------
    pieces : Pieces
        Where the task can work.
    position : (...)
        Row * stride + hour from which the crew is free.

    Returns
    -------
    (...)
        Position of the start, in the same row.
    """
    runs, least = pieces.runs, pieces.effort.least_run
    if runs.begin.size == 0:
        return np.full(position.shape, NEVER, dtype=np.int64)
    at = np.searchsorted(runs.end - least, position, side="left")
    found = np.maximum(position, runs.begin[np.minimum(at, runs.begin.size - 1)])
    same_row = (at < runs.begin.size) & (found // runs.stride == position // runs.stride)
    return np.where(same_row, found, NEVER)


def finish_from(pieces: Pieces, start: FlatArray) -> FlatArray:
    """Return where work begun at permitted starts is over, NEVER where its row ends before.

    Parameters
    ----------
    pieces : Pieces
        Where the task can work.
    start : (...)
        Positions from `first_start`; anything but a permitted start gives NEVER.

    Returns
    -------
    (...)
        Position of the finish, in the same row.
    """
    runs, effort = pieces.runs, pieces.effort
    if runs.begin.size == 0:
        return np.full(start.shape, NEVER, dtype=np.int64)
    at = np.searchsorted(runs.begin, start, side="right") - 1
    held = np.maximum(at, 0)
    here = runs.end[held] - start - effort.around  # work that fits into the first piece
    permitted = (at >= 0) & (here + effort.around >= effort.least_run) & (start < NEVER)
    at_once = start + effort.hours + effort.around
    if not effort.may_pause:
        return np.where(permitted, at_once, NEVER)
    target = pieces.work[held + 1] + effort.hours - here
    last = np.searchsorted(pieces.work, target, side="left") - 1
    inside = np.clip(last, 0, runs.begin.size - 1)
    later = runs.begin[inside] + target - pieces.work[inside] + effort.around
    fits = (last < runs.begin.size) & (later // runs.stride == start // runs.stride)
    return np.where(
        permitted, np.where(here >= effort.hours, at_once, np.where(fits, later, NEVER)), NEVER
    )


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
    usable = workable & shift
    if effort.hours + effort.around == 0:
        finish = np.where(usable, np.arange(usable.shape[-1], dtype=np.int32), NEVER)
    else:
        pieces = pieces_of(runs_of(usable), effort)
        finish = _spread(pieces, usable)
    if may_start is not None:
        finish = np.where(may_start, finish, NEVER)
    return finish.astype(np.int32)


def _spread(pieces: Pieces, usable: BoolArray) -> FlatArray:
    """Return `finish_from` at every usable hour, NEVER at the others."""
    hours = usable.shape[-1]
    row, hour = np.nonzero(usable.reshape(-1, hours))
    done = finish_from(pieces, row * pieces.runs.stride + hour)
    finish = np.full((usable.size // hours, hours), NEVER, dtype=np.int64)
    finish[row, hour] = np.where(done < NEVER, done - row * pieces.runs.stride, NEVER)
    return finish.reshape(usable.shape)


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
