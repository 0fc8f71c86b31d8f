"""Mould on wood: the index of Hukka and Viitanen, from nothing (0) to fully covered (6).

References
----------
Hukka and Viitanen, A mathematical model of mould growth on wooden material, Wood Science and
Technology 33 (1999) 475-485; material classes: Viitanen and Ojanen, Buildings X (2007). The linear
term of the critical humidity is negative: only so is it 80 % at 20 °C. The late-growth factor is
``2 / (tv / tm - 1)``. A published study finds the parameters poorly identified (Berger et al.,
arXiv 1804.02992): a tool for ranking, not a proof.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from rules.verdict import FloatArray

# Highest index as A + B x - C x^2 of the place x between critical humidity and 100 %.
SENSITIVITY: Final = {
    "very_sensitive": (1.0, 7.0, 2.0),
    "sensitive": (0.3, 6.0, 1.0),
    "medium": (0.0, 5.0, 1.5),
    "resistant": (0.0, 3.0, 1.0),
}


def critical_humidity(*, air_temperature_c: FloatArray) -> FloatArray:
    """Return the humidity under which mould does not grow: (..., hours), [%]."""
    t = air_temperature_c
    cubic = -0.00267 * t**3 + 0.160 * t**2 - 3.13 * t + 100.0
    return np.where(t > 20.0, 80.0, np.where(t <= 0.0, 100.0, cubic) + 0.0 * t)


def first_growth_weeks(
    *, air_temperature_c: FloatArray, relative_humidity_pct: FloatArray, spruce: bool = False
) -> FloatArray:
    """Return the weeks to microscopic growth in steady air, infinite at 0 °C and under."""
    with np.errstate(divide="ignore", invalid="ignore"):
        weeks: FloatArray = np.exp(
            -0.68 * np.log(np.maximum(air_temperature_c, 0.0))
            - 13.9 * np.log(relative_humidity_pct)
            + 0.14 * spruce
            + 66.02
        )
    return weeks


def visible_growth_weeks(
    *, air_temperature_c: FloatArray, relative_humidity_pct: FloatArray, spruce: bool = False
) -> FloatArray:
    """Return the weeks to the first visible growth in steady air."""
    with np.errstate(divide="ignore", invalid="ignore"):
        weeks: FloatArray = np.exp(
            -0.74 * np.log(np.maximum(air_temperature_c, 0.0))
            - 12.72 * np.log(relative_humidity_pct)
            + 0.06 * spruce
            + 61.50
        )
    return weeks


def growth_rate(
    *,
    air_temperature_c: FloatArray,
    relative_humidity_pct: FloatArray,
    spruce: bool = False,
    kiln_dried: bool = False,
) -> FloatArray:
    """Return growth of the index per day before the two factors of stage and ceiling.

    Zero where the air is too dry, at 0 °C and under, and over 50 °C; NaN where it is not known.
    """
    weeks = first_growth_weeks(
        air_temperature_c=air_temperature_c,
        relative_humidity_pct=relative_humidity_pct,
        spruce=spruce,
    )
    rate = 1.0 / (7.0 * weeks * np.exp(-0.33 * kiln_dried))
    t, h = air_temperature_c, relative_humidity_pct
    grows = (t > 0.0) & (t <= 50.0) & (h >= critical_humidity(air_temperature_c=t))
    return np.where(grows, rate, 0.0 * t + 0.0 * h)


def highest_index(
    *, air_temperature_c: FloatArray, relative_humidity_pct: FloatArray, sensitivity: str
) -> FloatArray:
    """Return the index that growth in steady air cannot pass, 0 where it is too dry to grow."""
    a, b, c = SENSITIVITY[sensitivity]
    critical = critical_humidity(air_temperature_c=air_temperature_c)
    below = critical - 100.0
    grows = (relative_humidity_pct >= critical) & (below < 0.0)
    x = np.where(grows, (critical - relative_humidity_pct) / np.where(grows, below, 1.0), 0.0)
    return np.where(grows, a + b * x - c * x**2, 0.0 * relative_humidity_pct + 0.0 * below)


def mould_index(
    *,
    air_temperature_c: FloatArray,
    relative_humidity_pct: FloatArray,
    sensitivity: str = "very_sensitive",
    start: FloatArray | float = 0.0,
) -> FloatArray:
    """Mould index on wood in the given air, hour by hour.

    Parameters
    ----------
    air_temperature_c, relative_humidity_pct : (..., hours)
        Air at the wood's surface. [°C], [%]
    sensitivity : str
        Class of the material, a key of ``SENSITIVITY``; untreated softwood is very sensitive.
    start : number or (...)
        Index at the beginning.

    Returns
    -------
    (..., hours)
        Index at the end of each hour; NaN from the first gap on.

    References
    ----------
    As at the head of this file. Decline in dry or freezing air: 0.032 a day over the first 6 h,
    none up to 24 h, then 0.016 a day.
    """
    t, h = air_temperature_c, relative_humidity_pct
    rate = growth_rate(air_temperature_c=t, relative_humidity_pct=h) / 24.0
    ceiling = highest_index(air_temperature_c=t, relative_humidity_pct=h, sensitivity=sensitivity)
    with np.errstate(divide="ignore", invalid="ignore"):
        visible = visible_growth_weeks(air_temperature_c=t, relative_humidity_pct=h)
        first = first_growth_weeks(air_temperature_c=t, relative_humidity_pct=h)
        late = 2.0 / (visible / first - 1.0)
    loss = _decline(rate)
    index = np.empty(rate.shape)
    now = np.broadcast_to(np.asarray(start, dtype=np.float64), rate.shape[:-1])
    for hour in range(rate.shape[-1]):  # growth feeds on the index itself
        stage = np.where(now < 1.0, 1.0, late[..., hour])
        room = np.maximum(1.0 - np.exp(2.3 * (now - ceiling[..., hour])), 0.0)
        grown = np.where(rate[..., hour] > 0.0, rate[..., hour] * stage * room, rate[..., hour])
        now = np.maximum(now + grown - loss[..., hour], 0.0)
        index[..., hour] = now
    return index


def _decline(rate: FloatArray) -> FloatArray:
    """Return what the index loses in each hour without growth, by how long that has lasted."""
    hour = np.arange(rate.shape[-1])
    last_growth = np.maximum.accumulate(np.where(rate > 0.0, hour, -1), axis=-1)
    dry = hour - last_growth  # 1 in the first hour after growth; counts from the start, too
    daily = np.where(dry <= 6, 0.032, np.where(dry <= 24, 0.0, 0.016))
    return np.where(rate > 0.0, 0.0, daily / 24.0)
