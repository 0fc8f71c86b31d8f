"""How wrong a forecast may be: errors that grow with lead time, hang together, and have fat tails.

Sizes by lead day (mean absolute error) are those that a public forecast office printed for its
own November forecasts: highs about 2 to 5 °F, lows about 3 to 6 °F from day 1 to day 7 (National
Weather Service Milwaukee, forecast verification, November 2011). Wind (3.5 to 5.5 kt) and
humidity (7 to 12 %) are from memory. Shape of the tails: a 2005 survey of US forecasts found 68 %
of day-1 highs within 3 °F and 3 % wrong by 10 °F or more; a Student t of three degrees of freedom
has that ratio (3.29 against 3.33; a Gaussian 2.18). The survey speaks of day 1 only; from there
the tails go over to the Gaussian by day 7, where errors are near the season's own departures
(assumption); wind and humidity are Gaussian for want of a figure. How errors hang together in
time is an assumption too: correlation falls by e in 36 h, and inside a day the error slides from
the low's to the high's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np

from rules.verdict import FloatArray

SHORTEST_H: Final = 12.0  # day 1 is centred here; errors shrink to half towards lead zero
CORRELATION_H: Final = 36.0  # assumption, no source: correlation falls by e in this time
SOLAR_LOW_H, SOLAR_HIGH_H = 6.0, 15.0  # usual solar hours of the day's low and high
FAHRENHEIT: Final = 5.0 / 9.0
KNOT: Final = 0.514444
LONGEST_LEAD_H: Final = 204.0  # past this only the climate speaks; figures end at day 7
KNOTS: Final = 22  # enough for two a day up to the longest lead


@dataclass(frozen=True, slots=True)
class ErrorSize:
    """Mean absolute error on lead day 1 and day 7, at the day's low and at its high."""

    low: tuple[float, float]
    high: tuple[float, float]
    fat_tails: bool = False


SIZES: Final = {
    "air_temperature_c": ErrorSize(
        low=(3.0 * FAHRENHEIT, 6.0 * FAHRENHEIT),
        high=(2.0 * FAHRENHEIT, 5.0 * FAHRENHEIT),
        fat_tails=True,
    ),
    "wind_speed_ms": ErrorSize(low=(3.5 * KNOT, 5.5 * KNOT), high=(3.5 * KNOT, 5.5 * KNOT)),
    "relative_humidity_pct": ErrorSize(low=(7.0, 12.0), high=(7.0, 12.0)),
}


def mean_absolute_error(size: tuple[float, float], lead_h: FloatArray) -> FloatArray:
    """Return the mean absolute error by lead: straight from day 1 to day 7 and on.

    Lead day ``d`` covers the lead hours ``24 (d - 1)`` to ``24 d`` and its figure stands at the
    middle. Before the middle of day 1 it shrinks to half at lead zero (assumption, no source).
    """
    day = np.maximum(lead_h, SHORTEST_H) / 24.0 + 0.5
    grown = size[0] + (size[1] - size[0]) / 6.0 * (day - 1.0)
    return grown * (0.5 + 0.5 * np.minimum(lead_h / SHORTEST_H, 1.0))


def knots_h(first_solar_hour: float, hours: int) -> FloatArray:
    """Return the leads of the lows and highs that span ``hours``, rising.

    Parameters
    ----------
    first_solar_hour : number
        Solar time of lead zero, 0 to 24. [h]
    hours : number
        Length to span; cut at ``LONGEST_LEAD_H``. [h]
    """
    span = min(float(hours), LONGEST_LEAD_H)
    day = 24.0 * np.arange(-1, math.ceil(span / 24.0) + 2)
    leads = np.sort(np.concatenate([day + SOLAR_LOW_H, day + SOLAR_HIGH_H])) - first_solar_hour
    first = int(np.searchsorted(leads, 0.0, side="right")) - 1
    last = int(np.searchsorted(leads, span, side="left"))
    spanned: FloatArray = leads[first : last + 1]
    return spanned


def error_weights(leads: FloatArray, hours: int) -> FloatArray:
    """Return weights that turn independent normals at the knots into one normal for each hour.

    Returns
    -------
    (knots, hours)
        Columns of unit length: every hour's normal has variance one; hours of one day hang
        together, two days apart hardly.
    """
    apart = np.abs(leads[:, None] - leads[None, :])
    root = np.linalg.cholesky(np.exp(-apart / CORRELATION_H))
    hour = np.clip(np.arange(hours, dtype=np.float64), leads[0], leads[-1])
    right = np.clip(np.searchsorted(leads, hour, side="left"), 1, leads.size - 1)
    share = (hour - leads[right - 1]) / (leads[right] - leads[right - 1])
    between = np.zeros((leads.size, hours))
    columns = np.arange(hours)
    between[right - 1, columns] = 1.0 - share
    between[right, columns] += share
    weights = root.T @ between
    unit: FloatArray = weights / np.linalg.norm(weights, axis=0)
    return unit


def errors(name: str, normals: FloatArray, first_solar_hour: float, hours: int) -> FloatArray:
    """Return forecast errors of one column for each scenario and hour.

    Parameters
    ----------
    name : str
        A column of ``SIZES``.
    normals : (scenarios, KNOTS)
        Independent standard normals, one row a scenario.
    first_solar_hour : number
        Solar time of the first hour. [h]
    hours : number
        Hours of the forecast; those past ``LONGEST_LEAD_H`` keep the last error. [h]

    Returns
    -------
    (scenarios, hours)
        In the column's unit; mean zero.
    """
    leads = knots_h(first_solar_hour, hours)
    latent = normals[:, : leads.size] @ error_weights(leads, hours)
    fat = fat_share(name, hours)
    shaped = fat * fat_tailed(latent) + (1.0 - fat) * latent * math.sqrt(math.pi / 2.0)
    return shaped * error_size(name, first_solar_hour, hours)


def error_size(name: str, first_solar_hour: float, hours: int) -> FloatArray:
    """Return the mean absolute error of each hour, between the low's and the high's."""
    lead = np.arange(hours, dtype=np.float64)
    low = mean_absolute_error(SIZES[name].low, lead)
    high = mean_absolute_error(SIZES[name].high, lead)
    solar = (first_solar_hour + lead) % 24.0
    swing = np.interp(solar, [0.0, 6.0, 15.0, 24.0], [0.4, 0.0, 1.0, 0.4])
    size: FloatArray = low + swing * (high - low)
    return size


def fat_share(name: str, hours: int) -> FloatArray:
    """Return how far each hour's tails are the survey's: 1 on day 1, 0 from day 7 on."""
    day = np.arange(hours) / 24.0 + 0.5
    share: FloatArray = SIZES[name].fat_tails * np.clip((7.0 - day) / 6.0, 0.0, 1.0)
    return share


def error_spread(name: str, first_solar_hour: float, hours: int) -> FloatArray:
    """Return the standard deviation of each hour's error."""
    normal, student = _student_by_normal()
    weight = np.exp(-(normal**2) / 2.0)
    fat = fat_share(name, hours)[:, None]
    shaped = fat * student + (1.0 - fat) * normal * math.sqrt(math.pi / 2.0)
    spread: FloatArray = np.sqrt((shaped**2 * weight).sum(axis=1) / weight.sum())
    return spread * error_size(name, first_solar_hour, hours)


def fat_tailed(latent: FloatArray) -> FloatArray:
    """Turn standard normals into a Student t, 3 degrees, of mean absolute value 1."""
    normal, student = _student_by_normal()
    return np.interp(latent, normal, student)


@cache
def _student_by_normal() -> tuple[FloatArray, FloatArray]:
    """Return matching quantiles of the normal and of the scaled Student t, 3 degrees.

    The distribution of t with three degrees of freedom is closed:
    ``1/2 + (x/(1+x^2) + atan x)/pi`` with ``x = t/sqrt 3`` (Johnson, Kotz and Balakrishnan,
    Continuous Univariate Distributions 2, chapter 28). Its mean absolute value is
    ``2 sqrt 3 / pi``.
    """
    normal = np.linspace(-4.5, 4.5, 1801)
    chance = np.array([0.5 * math.erfc(-z / math.sqrt(2.0)) for z in normal])
    half = np.concatenate([np.linspace(0.0, 6.0, 6001), np.geomspace(6.0, 400.0, 6000)[1:]])
    grid = np.concatenate([-half[::-1][:-1], half])
    below = 0.5 + (grid / (1.0 + grid**2) + np.arctan(grid)) / math.pi
    student = np.interp(chance, below, grid) * math.sqrt(3.0)
    return normal, student / (2.0 * math.sqrt(3.0) / math.pi)


def chance_at_or_below(
    *, forecast: float, limit: float, mean_absolute_error: float, fat: float
) -> float:
    """Return the chance that a value comes at or under a limit, given its forecast.

    Parameters
    ----------
    forecast, limit, mean_absolute_error : number
        In one unit.
    fat : number
        1 for the tails of day 1 (Student t), 0 for a Gaussian; as ``errors`` mixes them.
    """
    normal, student = _student_by_normal()
    shaped = fat * student + (1.0 - fat) * normal * math.sqrt(math.pi / 2.0)
    latent = np.interp((limit - forecast) / mean_absolute_error, shaped, normal)
    return 0.5 * math.erfc(-float(latent) / math.sqrt(2.0))
