"""Rain that a forecast allows: does it fall in each six hours, and how much.

A stated chance is taken as the chance of measurable rain in each six-hour block of UTC, which is
how public grids share out amounts; for a chance stated over twelve hours that is the wet side.
Where a source states no chance, it is made from the amount so that its Brier skill falls from
about 0.4 on day 1 to 0.1 on day 7 (from memory): ``p = base + sqrt(skill) (wet - base)``, which
has exactly that skill where the forecast is calibrated. The expected amount is kept; single
amounts scatter by a lognormal factor (assumption, no source).
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.verdict import FloatArray
from scheduler.planning.forecast.forecast_error import LONGEST_LEAD_H

BLOCK_H: Final = 6
BLOCKS: Final = int(LONGEST_LEAD_H) // BLOCK_H + 2
MEASURABLE_MM: Final = 0.254  # 0.01 in, what a stated chance of rain is the chance of
MODEST_MM: Final = 1.0  # mean of rain that falls though no amount was forecast; assumption
BASE_CHANCE: Final = 0.3  # share of wet six hours where the record tells nothing; assumption
HANG_TOGETHER_H: Final = 12.0  # assumption: wetness of blocks correlates by e in this time


def blocks_of(first_utc_hour: int, hours: int) -> NDArray[np.int64]:
    """Return for each hour the number of its six-hour block of UTC, from 0."""
    return (first_utc_hour % BLOCK_H + np.arange(hours)) // BLOCK_H


def chance_from_amount(wet: NDArray[np.bool_], lead_h: FloatArray, base: float) -> FloatArray:
    """Return the chance of rain in each block of a source that states amounts only."""
    day = np.maximum(lead_h / 24.0 + 0.5, 1.0)
    skill = np.clip(0.4 - 0.05 * (day - 1.0), 0.0, 1.0)
    chance: FloatArray = base + np.sqrt(skill) * (np.where(wet, 1.0, 0.0) - base)
    return chance


def rain(
    *,
    amount_mm: FloatArray,
    probability_pct: FloatArray,
    first_utc_hour: int,
    base_chance: float,
    wet_normals: FloatArray,
    amount_normals: FloatArray,
    place_normals: FloatArray,
) -> FloatArray:
    """Return rain by scenario and hour.

    Parameters
    ----------
    amount_mm, probability_pct : (hours,)
        The forecast; NaN where it says nothing. [mm in the hour], [%]
    first_utc_hour : int
        UTC clock hour of the first hour.
    base_chance : number
        Share of wet six hours at this place and season, 0 to 1. [1]
    wet_normals, amount_normals, place_normals : (scenarios, BLOCKS)
        Independent standard normals, one row a scenario.

    Returns
    -------
    (scenarios, hours)
        Amount in each hour; NaN where the forecast has no amount. [mm]
    """
    block = blocks_of(first_utc_hour, amount_mm.size)
    last = int(block[-1]) + 1
    total = np.zeros(last)
    np.add.at(total, block, np.nan_to_num(amount_mm))
    lead = BLOCK_H * np.arange(last, dtype=np.float64)
    stated = np.full(last, -np.inf)
    np.maximum.at(stated, block, np.where(np.isnan(probability_pct), -np.inf, probability_pct))
    unstated = chance_from_amount(total >= MEASURABLE_MM, lead, base_chance)
    chance = np.where(stated >= 0.0, stated / 100.0, unstated)
    falls = _hang_together(wet_normals[:, :last]) < _normal_quantile(chance)
    each = total / np.maximum(chance, 0.05) * _scatter(amount_normals[:, :last], lead)
    stray = MEASURABLE_MM - (MODEST_MM - MEASURABLE_MM) * np.log(below(amount_normals[:, :last]))
    block_mm = np.where(falls, np.where(total > 0.0, each, stray), 0.0)
    share = np.where(total[block] > 0.0, np.nan_to_num(amount_mm) / _nonzero(total[block]), 0.0)
    fallen = block_mm[:, block] * share
    strays = _three_hours(place_normals[:, :last], block, first_utc_hour) & (total[block] <= 0.0)
    fallen += np.where(strays, block_mm[:, block] / 3.0, 0.0)
    return np.where(np.isnan(amount_mm), np.nan, fallen)


def _three_hours(
    normals: FloatArray, block: NDArray[np.int64], first_utc_hour: int
) -> NDArray[np.bool_]:
    """Return where rain without a forecast amount falls: three hours on end in its block."""
    begin = np.floor(4.0 * below(normals))[:, block]
    clock = (first_utc_hour + np.arange(block.size)) % BLOCK_H
    inside: NDArray[np.bool_] = (clock >= begin) & (clock < begin + 3.0)
    return inside


def _hang_together(normals: FloatArray) -> FloatArray:
    lag = BLOCK_H * np.abs(np.subtract.outer(*[np.arange(normals.shape[1])] * 2))
    root = np.linalg.cholesky(np.exp(-lag / HANG_TOGETHER_H))
    together: FloatArray = normals @ root.T
    return together


def _scatter(normals: FloatArray, lead_h: FloatArray) -> FloatArray:
    """Return factors of mean one, wider with lead time (assumption, no source)."""
    spread = 0.5 + 0.5 * np.minimum(lead_h / 168.0, 1.0)
    factor: FloatArray = np.exp(spread * normals - 0.5 * spread**2)
    return factor


def _nonzero(values: FloatArray) -> FloatArray:
    return np.where(values > 0.0, values, 1.0)


_Z: Final = np.linspace(-6.0, 6.0, 2401)
_BELOW: Final = np.array([0.5 * math.erfc(-z / math.sqrt(2.0)) for z in _Z])


def below(normals: FloatArray) -> FloatArray:
    """Return the share of a standard normal below each value, inside (0, 1)."""
    share: FloatArray = np.interp(normals, _Z, _BELOW)
    return share


def _normal_quantile(chance: FloatArray) -> FloatArray:
    value = np.interp(chance, _BELOW, _Z)
    return np.where(chance <= 0.0, -np.inf, np.where(chance >= 1.0, np.inf, value))
