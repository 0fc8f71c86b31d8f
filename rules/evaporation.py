"""How fast bleed water leaves a fresh slab."""

from __future__ import annotations

from typing import Final

import numpy as np

from rules.condensation import saturation_pressure_pa
from rules.errors import OutOfRange
from rules.units import convert
from rules.verdict import FloatArray

ORDINARY_C: Final = 16.0  # 60 °F: least as mixed for thin sections from 30 °F air on, ACI 306R


def evaporation_rate(
    *,
    air_temperature_c: FloatArray,
    relative_humidity_pct: FloatArray,
    wind_speed_ms: FloatArray,
    concrete_temperature_as_placed_c: FloatArray | float | None = None,
    slab_wind_share: float = 0.66,
) -> FloatArray:
    """Rate at which bleed water leaves a fresh slab.

    Parameters
    ----------
    air_temperature_c : (..., hours)
        Air temperature. [°C]
    relative_humidity_pct : (..., hours)
        Relative humidity, 0 to 100. [%]
    wind_speed_ms : (..., hours)
        Mean wind 10 m above the ground. [m/s]
    concrete_temperature_as_placed_c : (..., hours) or one value
        Of the fresh slab; nobody said: 16 °C, the air's own where that is warmer. [°C]
    slab_wind_share
        Wind 0.5 m above the slab over the wind given. The default is a log-law estimate over open
        ground (0.6 to 0.7), from memory; 1 where the wind was read at the slab.

    Returns
    -------
    (..., hours)
        Evaporation, never below zero; NaN where an input is NaN. Tens of percent uncertain.
        [kg/m²/h]

    Raises
    ------
    OutOfRange
        If humidity leaves 0 to 100, or wind is negative.

    References
    ----------
    P. J. Uno, Plastic Shrinkage Cracking and Evaporation Formulas, ACI Materials Journal 95-M34,
    1998; its V is the wind 0.5 m above the surface, in km/h.
    """
    air = np.asarray(air_temperature_c, dtype=np.float64)
    share = _share(relative_humidity_pct)
    wind_kmh = convert(_wind(wind_speed_ms) * slab_wind_share, "m/s", "km/h")
    placed = concrete_temperature_as_placed_c
    slab_c = np.maximum(air, ORDINARY_C) if placed is None else np.asarray(placed)
    lost = _held(slab_c) - share * _held(air)
    return np.asarray(np.maximum(5e-6 * lost * (wind_kmh + 4.0), 0.0), dtype=np.float64)


def _held(temperature_c: FloatArray | float) -> FloatArray:
    """Return the formula's stand-in for vapour pressure, nothing below -18 °C."""
    return np.asarray(np.maximum(np.asarray(temperature_c) + 18.0, 0.0) ** 2.5)


def menzel_rate(
    *,
    air_temperature_c: FloatArray,
    relative_humidity_pct: FloatArray,
    wind_speed_05m_ms: FloatArray,
    concrete_temperature_c: FloatArray,
) -> FloatArray:
    """Return the rate in kg/m²/h by the older formula that the guide's chart is drawn from.

    Parameters
    ----------
    air_temperature_c, concrete_temperature_c : (..., hours)
        [°C]
    relative_humidity_pct : (..., hours)
        [%]
    wind_speed_05m_ms : (..., hours)
        Wind 0.5 m above the slab. [m/s]

    References
    ----------
    Menzel 1954 as printed in ACI 305R, from memory, compare with the edition: 0.44 (e0 - r ea)
    (0.253 + 0.096 V) lb/ft²/h, e in psi, V in mph. Vapour pressure over water:
    ``rules.condensation``.
    """
    share = _share(relative_humidity_pct)
    wind_mph = convert(_wind(wind_speed_05m_ms), "m/s", "mph")
    pull_pa = saturation_pressure_pa(concrete_temperature_c) - share * saturation_pressure_pa(
        air_temperature_c
    )
    lost = 0.44 * convert(pull_pa, "Pa", "psi") * (0.253 + 0.096 * wind_mph)
    return np.maximum(convert(lost, "lb/ft2/h", "kg/m2/h"), 0.0)


def _share(relative_humidity_pct: FloatArray) -> FloatArray:
    humidity = np.asarray(relative_humidity_pct, dtype=np.float64)
    if ((humidity < 0.0) | (humidity > 100.0)).any():
        raise OutOfRange("relative humidity is outside 0 to 100 %")
    return humidity / 100.0


def _wind(wind_ms: FloatArray) -> FloatArray:
    wind = np.asarray(wind_ms, dtype=np.float64)
    if (wind < 0.0).any():
        raise OutOfRange("wind is negative")
    return wind
