"""Aggregates over windows of hours, for every start at once.

A window is ``low[start]`` up to ``high[start]``, hour ``high`` not in it. Sums come from running
totals; least values from doubled strides, so that a window of any length costs two looks.
Nothing here loops over hours.
"""

from __future__ import annotations

from math import prod
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from rules.verdict import FloatArray

HourIndex = NDArray[np.int64]
Kind = TypeVar("Kind", bound=np.generic)


def take(values: NDArray[Kind], at: HourIndex) -> NDArray[Kind]:
    """Return ``values`` at hours ``at``, which may have leading axes of its own.

    Parameters
    ----------
    values : (..., hours)
    at : (starts,) or (..., starts)
        Hours within ``values``.
    """
    if at.ndim == 1:
        return np.take(values, at, axis=-1)
    lead, hours = np.broadcast_shapes(values.shape[:-1], at.shape[:-1]), values.shape[-1]
    row = hours * np.arange(prod(lead)).reshape(*lead, 1)
    out: NDArray[Kind] = np.broadcast_to(values, (*lead, hours)).reshape(-1).take(row + at)
    return out


def is_run(at: HourIndex) -> bool:
    """Tell whether hours rise by one without a hole."""
    return at.ndim == 1 and at.size > 0 and bool((np.diff(at) == 1).all())


def running_total(values: FloatArray) -> FloatArray:
    """Return totals of the hours before each hour, one longer than ``values``."""
    out = np.zeros((*values.shape[:-1], values.shape[-1] + 1))
    np.cumsum(values, axis=-1, out=out[..., 1:])
    return out


def sum_between(totals: FloatArray, low: HourIndex, high: HourIndex) -> FloatArray:
    """Return the sum of hours ``low`` up to ``high`` from running totals.

    Hours outside the table add nothing; 0 where the window is empty.
    """
    hours = totals.shape[-1] - 1
    if is_run(low) and is_run(high):
        before, after = max(0, -int(low[0])), max(0, int(high[-1]) - hours)
        edges = [(0, 0)] * (totals.ndim - 1) + [(before, after)]
        totals = np.pad(totals, edges, mode="edge") if before or after else totals
        count, first, second = low.size, int(low[0]) + before, int(high[0]) + before
        return totals[..., second : second + count] - totals[..., first : first + count]
    return take(totals, np.clip(high, 0, hours)) - take(totals, np.clip(low, 0, hours))


def least_between(values: NDArray[Kind], low: HourIndex, high: HourIndex) -> NDArray[Kind]:
    """Return the least of hours ``low`` up to ``high``.

    NaN where one of them is NaN; hours outside the table do not count; where none is left, the
    greatest value the kind of number has (infinity for floats).

    Parameters
    ----------
    values : (..., hours)
    low, high : (starts,) or (..., starts)
        Hours of the table, or beyond either end of it.
    """
    before = max(0, -int(low.min(initial=0)))
    after = max(0, int(high.max(initial=0)) - values.shape[-1])
    table = _padded(values, before, after)
    low, high = low + before, high + before
    width = high - low
    if is_run(low) and is_run(high):
        return _least_of_run(table, int(low[0]), int(width[0]), low.size)
    low, width = np.broadcast_arrays(low, width)
    return _least_of_any(table, low, width)


def _least_of_any(table: NDArray[Kind], low: HourIndex, width: HourIndex) -> NDArray[Kind]:
    """Return the least of windows of any length: each looks twice into the table of its length.

    Parameters
    ----------
    table : (..., hours)
    low, width : (starts,) or (..., starts)
        Within the table.
    """
    lead, starts = np.broadcast_shapes(table.shape[:-1], low.shape[:-1]), low.shape[-1]
    if low.ndim > 1 and table.shape[:-1] != lead:
        table = np.broadcast_to(table, (*lead, table.shape[-1]))
    out = np.full((*lead, starts), _greatest(table), dtype=table.dtype)
    longest = int(width.max(initial=0))
    own = low.ndim > 1  # each row of the table has its own windows
    if own:
        low, width = (np.broadcast_to(of, out.shape).reshape(-1) for of in (low, width))
    level_of = np.frexp(np.maximum(width, 0))[1].astype(np.int8) - 1  # of the doubled strides
    level = 0
    while (1 << level) <= longest:
        at = np.flatnonzero(level_of == level)
        first = low[at]
        late = first + (width[at] - (1 << level))
        if own:
            row, flat = at // starts * table.shape[-1], table.reshape(-1)
            out.reshape(-1)[at] = np.minimum(flat.take(row + first), flat.take(row + late))
        else:
            out[..., at] = np.minimum(take(table, first), take(table, late))
        level += 1
        if (1 << level) <= longest:
            half = 1 << (level - 1)
            table = np.minimum(table[..., :-half], table[..., half:])
    return out


def _greatest(values: NDArray[Kind]) -> float | int:
    integer = np.issubdtype(values.dtype, np.integer)
    return int(np.iinfo(values.dtype.str).max) if integer else np.inf


def _padded(values: NDArray[Kind], before: int, after: int) -> NDArray[Kind]:
    if not before and not after:
        return values
    edges = [(0, 0)] * (values.ndim - 1) + [(before, after)]
    return np.pad(values, edges, constant_values=_greatest(values))


def _least_of_run(table: NDArray[Kind], first: int, width: int, count: int) -> NDArray[Kind]:
    if width <= 0:
        return np.full((*table.shape[:-1], count), _greatest(table), dtype=table.dtype)
    table, reach = table[..., first : first + count + width - 1], 1
    while 2 * reach <= width:
        table = np.minimum(table[..., :-reach], table[..., reach:])
        reach *= 2
    late = width - reach
    out: NDArray[Kind] = np.minimum(table[..., :count], table[..., late : late + count])
    return out
