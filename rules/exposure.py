"""When the weather has done the open house harm: the first hour each limit is passed.

Hours are whole numbers from the first hour of the weather; ``NEVER`` sorts after all of them.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.verdict import FloatArray

HourNumbers = NDArray[np.int64]
NEVER: Final = 2**30  # the planning tables use the same code


def first_hour(passed: NDArray[np.bool_]) -> HourNumbers:
    """Return the first hour that is true along the last axis, ``NEVER`` where none is."""
    found: HourNumbers = np.where(passed.any(axis=-1), passed.argmax(axis=-1), NEVER).astype(
        np.int64
    )
    return found


def first_below(values: FloatArray, limit: float) -> tuple[HourNumbers, HourNumbers]:
    """Return the first hour under or at a limit, and the first hour that is not known.

    A value at the limit counts as passed: water at 0 °C freezes.

    Parameters
    ----------
    values : (..., hours)
        A quantity that harms when it is low.
    limit : number
        In the unit of ``values``.

    Returns
    -------
    passed, unknown : (...)
        Hour numbers; ``NEVER`` where there is none.
    """
    with np.errstate(invalid="ignore"):
        passed = first_hour(values <= limit)
    return passed, first_hour(np.isnan(values))


def first_above(values: FloatArray, limit: float) -> tuple[HourNumbers, HourNumbers]:
    """Return the first hour over a limit, and the first hour that is not known.

    Parameters and returns as in ``first_below``; a value at the limit is still allowed.
    """
    with np.errstate(invalid="ignore"):
        passed = first_hour(values > limit)
    return passed, first_hour(np.isnan(values))


def too_late_from(workable: NDArray[np.bool_], needed_h: int) -> HourNumbers:
    """Return the first hour at which too few workable hours are left for a piece of work.

    Parameters
    ----------
    workable : (..., hours)
        Hours in which the work may go on; an hour that is not known does not count.
    needed_h : int
        Hours that the work takes.

    Returns
    -------
    (...)
        Hour numbers: who begins then finds fewer than ``needed_h`` hours up to the season's end.
        0 where there never were enough, ``NEVER`` only where no hours are needed.
    """
    if needed_h <= 0:
        return np.full(workable.shape[:-1], NEVER, dtype=np.int64)
    left = np.cumsum(workable[..., ::-1], axis=-1)[..., ::-1]
    found = first_hour(left < needed_h)
    hours: HourNumbers = np.where(found == NEVER, workable.shape[-1], found).astype(np.int64)
    return hours
