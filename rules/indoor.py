"""Air inside the open house: one zone that follows the weather, with or without heat."""

from __future__ import annotations

from typing import Final

import numpy as np

from rules.errors import OutOfRange
from rules.recurrence import first_order
from rules.verdict import FloatArray

LEAST_SLOPE: Final = 1e-6  # K/h; flatter warming moves nothing, and rounding is near


def indoor_temperature(
    *,
    air_temperature_c: FloatArray,
    time_constant_h: FloatArray | float,
    indoor_start_c: FloatArray | float,
    heat_rise_k: FloatArray | float = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """Air temperature inside a house that follows the weather.

    The balance is ``tau dT/dt = Tout - T + rise``. Outdoor air runs straight from each hour's
    value to the next one's and the balance is solved exactly for that line.

    Parameters
    ----------
    air_temperature_c : (..., hours)
        Outdoor air at the beginning of each hour. [°C]
    time_constant_h : number, (hours,) or (..., hours)
        Heat stored in the house over heat lost per kelvin: 40 to 70 h for a tight insulated frame
        house, 20 to 40 h for a leaky older one, 5 to 15 h raised or with walls open (from
        memory). [h]
    indoor_start_c : number or (...)
        Indoor air at the beginning of the first hour. [°C]
    heat_rise_k : number, (hours,) or (..., hours)
        What the heat on site would hold above outdoor air for good: watts over watts lost per
        kelvin. [K]

    Returns
    -------
    end, lowest : (..., hours)
        Indoor air at the end of each hour, and the lowest within it. NaN from the first gap
        on. [°C]

    Raises
    ------
    OutOfRange
        If a time constant is not above zero.

    References
    ----------
    First-order cool-down ``T = Tout + (T0 - Tout) exp(-t / tau)`` (any heat transfer text; the
    lumped-capacitance model); the sloped line adds its exact particular solution.
    """
    tau = np.atleast_1d(np.asarray(time_constant_h, dtype=np.float64))
    if (tau <= 0.0).any():
        raise OutOfRange("the house's time constant must be above zero hours")
    outside = air_temperature_c + heat_rise_k
    slope = np.diff(outside, append=outside[..., -1:], axis=-1)
    decay = np.exp(-1.0 / tau) + np.zeros(air_temperature_c.shape[-1])
    gain = outside * (1.0 - decay) + slope * (1.0 - tau * (1.0 - decay))
    end = first_order(decay=decay, gain=gain, start=indoor_start_c)
    begin = np.concatenate([_first(indoor_start_c, end), end[..., :-1]], axis=-1)
    lowest = np.minimum(begin, end)
    turns = (slope > LEAST_SLOPE) & (begin > outside) & (outside + slope > end)
    if turns.any():
        lowest[turns] = _dip(
            begin[turns],
            outside[turns],
            slope[turns],
            np.broadcast_to(tau, turns.shape)[turns],
        )
    return end, lowest


def _first(start: FloatArray | float, like: FloatArray) -> FloatArray:
    first: FloatArray = np.broadcast_to(
        np.asarray(start, dtype=np.float64)[..., None], (*like.shape[:-1], 1)
    )
    return first


def _dip(begin: FloatArray, outside: FloatArray, slope: FloatArray, tau: FloatArray) -> FloatArray:
    """Return the lowest value inside hours in which cooling turns into warming.

    There indoor equals outdoor air, and ``exp(-t/tau)`` is ``slope tau`` over the excess.
    """
    rise = slope * tau
    return outside - rise * np.log(rise / (begin - outside + rise))


def open_time_constant(
    *,
    closed_time_constant_h: float,
    heat_capacity_wh_per_k: float,
    opening_area_m2: float,
    wind_speed_ms: FloatArray,
) -> FloatArray:
    """Time constant of a house whose openings the wind blows through.

    Parameters
    ----------
    closed_time_constant_h : number
        Of the same house shut. [h]
    heat_capacity_wh_per_k : number
        Heat that the house holds per kelvin. [Wh/K]
    opening_area_m2 : number
        Free area of the openings on the windward side. [m²]
    wind_speed_ms : (hours,) or (..., hours)
        Wind at the openings. [m/s]

    Returns
    -------
    (..., hours)
        [h]

    References
    ----------
    Air flow through openings ``Q = Cv A v`` with Cv 0.5 for wind square to the opening (ASHRAE
    Handbook of Fundamentals, natural ventilation: 0.5 to 0.6), air of 1.2 kg/m³ and 1005 J/kg K.
    """
    blown = 1.2 * 1005.0 * 0.5 * opening_area_m2 * wind_speed_ms
    shut = heat_capacity_wh_per_k / closed_time_constant_h
    constant: FloatArray = heat_capacity_wh_per_k / (shut + blown)
    return constant
