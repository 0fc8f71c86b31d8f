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
