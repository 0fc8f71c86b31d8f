"""Early freezing: fresh concrete or grout that freezes before it resists is failure, not delay.

Thin mortar beds in dry units lose water to the units and are not judged here: the book's
protection rows govern them.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.strength import ROUNDING_H, IntArray, Rate, cumulative_age_h, hours_to_age
from rules.verdict import FloatArray


class Fate(IntEnum):
    """What becomes of fresh work; the worse is larger."""

    SURVIVES = 0
    NOT_KNOWN = 1
    FREEZES = 2


FateArray = NDArray[np.int8]
NO_STEP: Final = np.int32(2**30)  # no step of the trace


@dataclass(frozen=True, slots=True)
class Freezing:
    """How fresh work of each trace comes through; steps count from placing."""

    fate: FateArray  # (...)
    safe_step: (
        IntArray  # (...) resists one freeze from here on; NO_STEP where the trace ends before
    )
    frozen_step: IntArray  # (...) first below the freezing point; NO_STEP where never
    coldest_c: FloatArray  # (...) least temperature up to the safe step, or the trace's end
    coldest_step: IntArray  # (...)


def ages_h(*, coldest_c: FloatArray, rate: Rate) -> FloatArray:
    """Return the equivalent age of work at each step, by its coldest node.

    Parameters
    ----------
    coldest_c : (..., steps + 1)
        Temperature at the beginning of each hour since placing. [°C]
    rate : Rate
        How the mix ages.

    Returns
    -------
    (..., steps + 1)
        NaN from a gap on. [h]
    """
    return cumulative_age_h(rate=rate(temperature_c=middles(coldest_c)))


def freezing(
    *, coldest_c: FloatArray, age_h: FloatArray, resists_age_h: float, freezing_point_c: float
) -> Freezing:
    """Judge fresh work by its coldest node.

    Parameters
    ----------
    coldest_c : (..., steps + 1)
        Temperature since placing. [°C]
    age_h : (..., steps + 1)
        Equivalent age. [h]
    resists_age_h
        Equivalent age at which it resists one freeze. [h]
    freezing_point_c
        Of the pore water. [°C]

    Returns
    -------
    Freezing
        ``FREEZES`` where it is colder than the point before it resists, ``NOT_KNOWN`` where the
        trace ends or has a gap before it resists and no freeze is seen.
    """
    with np.errstate(invalid="ignore"):
        safe = _first(age_h >= resists_age_h - ROUNDING_H)
        frozen = _first(coldest_c < freezing_point_c)
    fate = np.where(safe < NO_STEP, Fate.SURVIVES, Fate.NOT_KNOWN)
    fate = np.where(frozen < safe, Fate.FREEZES, fate)
    steps = np.arange(coldest_c.shape[-1])
    open_ = (steps <= safe[..., None]) & ~np.isnan(coldest_c)
    held = np.where(open_, coldest_c, np.inf)
    where = held.argmin(axis=-1)
    least = np.take_along_axis(held, where[..., None], axis=-1)[..., 0]
    return Freezing(
        fate=fate.astype(np.int8),
        safe_step=safe,
        frozen_step=frozen,
        coldest_c=np.where(np.isfinite(least), least, np.nan),
        coldest_step=where.astype(np.int32),
    )


def fate_on_one_trace(
    *,
    trace_c: FloatArray,
    rate: FloatArray,
    need_h: float | FloatArray,
    freezing_point_c: float,
    begin: IntArray | None = None,
) -> tuple[FateArray, IntArray]:
    """Judge work on one trace that is shared by all finishes, as the coarse path gives it.

    Parameters
    ----------
    trace_c : (..., hours + 1)
        Temperature at each moment, whatever the finish. [°C]
    rate : (..., hours)
        Equivalent hours gained in each hour. [h/h]
    need_h : number or (..., finishes)
        Equivalent age still to gain until it resists one freeze. [h]
    freezing_point_c
        Of the pore water. [°C]
    begin : (finishes,), optional
        Moment from which the work is on the trace; every moment of it where not given.

    Returns
    -------
    fate : (..., finishes)
        As ``freezing``.
    safe : (..., finishes)
        Moment from which it resists one freeze; ``hours + 1`` where the trace does not show it.
    """
    safe = hours_to_age(rate=rate, need_h=need_h, begin=begin)
    moments = trace_c.shape[-1]
    frozen, gap = next_true(trace_c < freezing_point_c), next_true(np.isnan(trace_c))
    if begin is not None:
        frozen, gap = frozen[..., begin], gap[..., begin]
    fate = np.where((safe < moments) & (gap > safe), Fate.SURVIVES, Fate.NOT_KNOWN)
    return np.where(frozen < np.minimum(safe, gap), Fate.FREEZES, fate).astype(np.int8), safe


def next_true(mask: NDArray[np.bool_]) -> IntArray:
    """Return for each moment the first true one at or after it, the length where there is none."""
    length = mask.shape[-1]
    at = np.where(mask, np.arange(length, dtype=np.int32), np.int32(length))
    return np.minimum.accumulate(at[..., ::-1], axis=-1)[..., ::-1]


def middles(moments: FloatArray) -> FloatArray:
    """Return the mean of each hour from its two ends."""
    middles: FloatArray = 0.5 * (moments[..., :-1] + moments[..., 1:])
    return middles


def _first(mask: NDArray[np.bool_]) -> IntArray:
    found = mask.argmax(axis=-1).astype(np.int32)
    return np.where(mask.any(axis=-1), found, NO_STEP)
