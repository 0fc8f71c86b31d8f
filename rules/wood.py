"""Water in wood: what the air asks for, what rain adds, and how long drying takes."""

from __future__ import annotations

from typing import Final

import numpy as np

from rules.errors import OutOfRange
from rules.recurrence import first_order
from rules.verdict import FloatArray

# One-to-three-inch wood keeps this share of its distance to the boundary's moisture over a day.
DAY_LEFT: Final = 0.87 * np.exp(-0.24)
HOUR_LEFT: Final = float(DAY_LEFT ** (1.0 / 24.0))


def equilibrium_moisture(
    *, air_temperature_c: FloatArray, relative_humidity_pct: FloatArray
) -> FloatArray:
    """Moisture that wood takes on in the long run.

    Parameters
    ----------
    air_temperature_c : (..., hours)
        Air temperature. [°C]
    relative_humidity_pct : (..., hours)
        Relative humidity, 0 to 100. [%]

    Returns
    -------
    (..., hours)
        Water by weight of dry wood. [%]

    Raises
    ------
    OutOfRange
        If humidity leaves 0 to 100.

    References
    ----------
    Hailwood-Horrobin equation as printed in the USDA Wood Handbook (FPL-GTR-190 and -282, chapter
    4); coefficients in °F from memory, they give the handbook's table to its last digit.
    """
    with np.errstate(invalid="ignore"):
        if ((relative_humidity_pct < 0.0) | (relative_humidity_pct > 100.0)).any():
            raise OutOfRange("relative humidity must lie between 0 and 100 %")
    t = air_temperature_c * 1.8 + 32.0
    h = relative_humidity_pct / 100.0
    w = 330.0 + 0.452 * t + 0.00415 * t**2
    k = 0.791 + 0.000463 * t - 0.000000844 * t**2
    k1 = 6.34 + 0.000775 * t - 0.0000935 * t**2
    k2 = 1.09 + 0.0284 * t - 0.0000904 * t**2
    kh = k * h
    bound = (k1 * kh + 2.0 * k1 * k2 * kh**2) / (1.0 + k1 * kh + k1 * k2 * kh**2)
    moisture: FloatArray = 1800.0 / w * (kh / (1.0 - kh) + bound)
    return moisture


def wood_moisture(
    *,
    equilibrium_pct: FloatArray,
    wet: FloatArray,
    start_pct: FloatArray | float,
) -> FloatArray:
    """Moisture of framing and decking that stands in the weather, hour by hour.

    The wood moves towards a boundary: the air's equilibrium in dry hours; in wet hours 41 % and
    half a percent more for each wet hour of the day behind. Over a day it covers
    ``1 - 0.87 exp(-0.24)`` of the way, which is the published step for wood of 1 to 3 in.; thinner
    panels wet and dry faster.

    Parameters
    ----------
    equilibrium_pct : (..., hours)
        What the air asks for. [%]
    wet : (..., hours)
        1 in hours in which water lies on or strikes the wood, else 0; NaN where not known.
    start_pct : number or (...)
        Moisture at the beginning, best from a meter. [%]

    Returns
    -------
    (..., hours)
        Moisture at the end of each hour; NaN from the first gap on. [%]

    References
    ----------
    Cohen and Deeming, The National Fire-Danger Rating System: basic equations, USDA Forest Service
    GTR PSW-82 (1985), 100-hour timelag fuels: boundary ``((24 - d) EMC + d (0.5 d + 41)) / 24``
    with ``d`` hours of rain in the day, step ``1 - 0.87 exp(-0.24)``.
    """
    rained = np.cumsum(wet, axis=-1)
    day_before = np.zeros_like(rained)
    day_before[..., 24:] = rained[..., :-24]
    soaked = 41.0 + 0.5 * (rained - day_before)
    boundary = equilibrium_pct + wet * (soaked - equilibrium_pct)
    decay = np.full(wet.shape[-1], HOUR_LEFT)
    return first_order(decay=decay, gain=(1.0 - HOUR_LEFT) * boundary, start=start_pct)


def drying_hours(*, start_pct: float, limit_pct: float, equilibrium_pct: float) -> float:
    """Return the hours of steady drying from a reading down to a limit; infinity where never.

    References
    ----------
    The same step as ``wood_moisture``, solved for time.
    """
    if start_pct <= limit_pct:
        return 0.0
    if equilibrium_pct >= limit_pct:
        return float("inf")
    left = (limit_pct - equilibrium_pct) / (start_pct - equilibrium_pct)
    return float(np.log(left) / np.log(HOUR_LEFT))
