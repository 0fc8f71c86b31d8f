"""First-order balances marched through hours at once: heat in a house, water in wood."""

from __future__ import annotations

import numpy as np

from rules.errors import OutOfRange
from rules.verdict import FloatArray

LARGEST_EXPONENT = 300.0  # e**300 and its inverse are far inside double precision's range


def first_order(*, decay: FloatArray, gain: FloatArray, start: FloatArray | float) -> FloatArray:
    """Solve ``x[k+1] = decay[k] * x[k] + gain[k]`` along the last axis.

    Parameters
    ----------
    decay : (hours,) or (..., hours)
        What is left of the state after each hour, above 0, at most 1; NaN where not known. [1]
    gain : (..., hours)
        What each hour adds. NaN makes this hour and all later ones NaN.
    start : (...) or number
        The state at the beginning of the first hour.

    Returns
    -------
    (..., hours)
        The state at the end of each hour, in the unit of ``gain``.

    Raises
    ------
    OutOfRange
        If a decay is not above 0 and at most 1.

    References
    ----------
    The closed form ``x[k] = A[k] * (x0 + sum(gain[j] / A[j]))`` with ``A`` the running product of
    the decays; taken in stretches so short that no factor leaves double precision.
    """
    if ((decay <= 0.0) | (decay > 1.0)).any():
        raise OutOfRange("what is left of a state after an hour must be above 0 and at most 1")
    out = np.empty(gain.shape)
    state = np.broadcast_to(np.asarray(start, dtype=np.float64), gain.shape[:-1])
    fall = -np.log(decay)
    steepest = float(np.nanmax(fall, initial=0.0))
    stretch = max(1, int(LARGEST_EXPONENT / max(steepest, 1e-12)))
    for begin in range(0, gain.shape[-1], stretch):
        part = slice(begin, begin + stretch)
        left = np.exp(-np.cumsum(fall[..., part], axis=-1))
        out[..., part] = left * (state[..., None] + np.cumsum(gain[..., part] / left, axis=-1))
        state = out[..., min(begin + stretch, gain.shape[-1]) - 1]
    return out
