"""Rain and snow that reach a deck or a room through what is open."""

from __future__ import annotations

from typing import Final

import numpy as np

from rules.verdict import FloatArray

SNOW_AT_OR_UNDER_C: Final = 1.0  # half of precipitation is snow at this air temperature
MELT_MM_PER_DEGREE_DAY: Final = 3.0
WET_HOUR_MM: Final = 0.254  # measurable rain, 0.01 in


def rain_and_snow(
    *, precipitation_amount_mm: FloatArray, air_temperature_c: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Split precipitation into rain and snow, both as water.

    References
    ----------
    Jennings et al., Nature Communications 9:1148 (2018): half of precipitation falls as snow at
    1.0 °C on average over the northern hemisphere.
    """
    cold = air_temperature_c <= SNOW_AT_OR_UNDER_C
    known = precipitation_amount_mm + 0.0 * air_temperature_c  # NaN where either is
    return np.where(cold, 0.0 * known, known), np.where(cold, known, 0.0 * known)


def driven_rain(
    *,
    rain_mm: FloatArray,
    wind_speed_ms: FloatArray,
    wind_from_direction_deg: FloatArray | None,
    facing_deg: float,
) -> FloatArray:
    """Rain that passes through an upright opening in the open.

    Parameters
    ----------
    rain_mm : (..., hours)
        Rain on level ground in the hour. [mm]
    wind_speed_ms : (..., hours)
        Mean wind 10 m above ground. [m/s]
    wind_from_direction_deg : (..., hours) or None
        Where the wind comes from; None counts every wind as blowing straight in. [degrees]
    facing_deg : number
        Compass direction the opening looks to. [degrees]

    Returns
    -------
    (..., hours)
        Water through the opening. [mm, litres a square metre of opening]

    References
    ----------
    ISO 15927-3:2009, hourly airfield index: ``2/9 v r^(8/9) cos(D - theta)`` summed where the
    cosine is positive (from memory; compare with the standard). It takes snow out by itself only
    where the rain given holds none.
    """
    share: FloatArray | float = 1.0
    if wind_from_direction_deg is not None:
        share = np.maximum(np.cos(np.radians(wind_from_direction_deg - facing_deg)), 0.0)
    through: FloatArray = 2.0 / 9.0 * wind_speed_ms * rain_mm ** (8.0 / 9.0) * share
    return np.where(rain_mm == 0.0, 0.0, through)


def snow_lying(
    *, snow_mm: FloatArray, air_temperature_c: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Snow that lies on a deck or floor as water, and what melts of it in each hour.

    Parameters
    ----------
    snow_mm : (..., hours)
        New snow as water. [mm]
    air_temperature_c : (..., hours)
        Air temperature. [°C]

    Returns
    -------
    lying, melted : (..., hours)
        At the end of each hour, and within it. [mm]

    References
    ----------
    Degree-day melt, 3 mm per °C and day: Corps of Engineers EM 1110-2-1406 gives about 2 to 4 in
    the open (from memory). Ten of snow are about one of water (common practice).
    """
    could = MELT_MM_PER_DEGREE_DAY / 24.0 * np.maximum(air_temperature_c, 0.0)
    balance = np.cumsum(snow_mm - could, axis=-1)
    lying = balance - np.minimum(np.minimum.accumulate(balance, axis=-1), 0.0)
    before = np.concatenate([np.zeros_like(lying[..., :1]), lying[..., :-1]], axis=-1)
    return lying, np.maximum(before + snow_mm - lying, 0.0)


def wet_hours(*, water_mm: FloatArray) -> FloatArray:
    """Return 1 in hours with measurable water, 0 in dry ones, NaN where it is not known."""
    return np.where(np.isnan(water_mm), np.nan, np.where(water_mm >= WET_HOUR_MM, 1.0, 0.0))
