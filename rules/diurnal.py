"""Hours made from days: the stated shapes by which a daily record becomes an hourly one.

A daily record says how cold and how warm a day was and how much fell, not when. The shapes here
are the published usual course of a day; what they give is weather as it may have been, good for
past years in numbers, never for what happened at a certain hour.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.errors import OutOfRange
from rules.verdict import FloatArray

WARMEST_CLOCK_H: Final = 14.0  # local standard time; de Wit et al. 1978
EARLIEST_COLDEST_H: Final = 3.0  # the shape needs a morning and an evening: under midnight sun and
LATEST_COLDEST_H: Final = 10.0  # in polar night the coldest hour is held here (common practice)
BLOCK_RATE_MM_H: Final = (
    1.0  # slight rain is below 2.5 mm/h (WMO-No. 8); common practice, no source
)
SNOW_RATE_MM_H: Final = 10.0  # the same water at ten to one; common practice, no source
SHAPE: Final = (
    "air temperature: cosine from the low at sunrise to the high at 14:00 and on to the next "
    "sunrise (de Wit et al. 1978, WAVE, as Reicosky et al. 1989 print it); rain and snow: one "
    "block around noon at 1 mm of water an hour (common practice, no source); wind, gust and snow "
    "depth: all day"
)


def sunrise_h(
    *, day: NDArray[np.datetime64], latitude_deg: float, longitude_deg: float
) -> FloatArray:
    """Return the clock hour of sunrise, in local standard time of the nearest full-hour zone.

    Parameters
    ----------
    day : (days,)
        Local days.
    latitude_deg, longitude_deg
        North and east positive. [degree]

    Returns
    -------
    (days,)
        Hours after midnight; held between 3 and 10 where the sun does not rise or set. [h]

    Raises
    ------
    OutOfRange
        If the place is not on the globe.

    References
    ----------
    Spencer, J. W. (1971), Fourier series representation of the position of the sun, Search 2
    (5): declination and equation of time. Refraction and radius, 0.833 degree: NOAA solar
    calculator.
    """
    if not (-90.0 <= latitude_deg <= 90.0 and -180.0 <= longitude_deg <= 360.0):
        raise OutOfRange(f"place {latitude_deg}, {longitude_deg} is not on the globe")
    first = day.astype("datetime64[Y]").astype("datetime64[D]")
    angle = 2.0 * np.pi * (day.astype("datetime64[D]") - first).astype(np.float64) / 365.0
    declination = (
        0.006918 - 0.399912 * np.cos(angle) + 0.070257 * np.sin(angle)
        - 0.006758 * np.cos(2 * angle) + 0.000907 * np.sin(2 * angle)
        - 0.002697 * np.cos(3 * angle) + 0.001480 * np.sin(3 * angle)
    )  # fmt: skip
    equation_min = 229.18 * (
        0.000075 + 0.001868 * np.cos(angle) - 0.032077 * np.sin(angle)
        - 0.014615 * np.cos(2 * angle) - 0.040849 * np.sin(2 * angle)
    )  # fmt: skip
    latitude = np.radians(latitude_deg)
    cosine = (np.sin(np.radians(-0.833)) - np.sin(latitude) * np.sin(declination)) / (
        np.cos(latitude) * np.cos(declination)
    )
    half_day_h = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))) / 15.0
    east = (longitude_deg + 180.0) % 360.0 - 180.0
    noon = 12.0 - (east / 15.0 - zone_h(longitude_deg)) - equation_min / 60.0
    rises: FloatArray = np.clip(noon - half_day_h, EARLIEST_COLDEST_H, LATEST_COLDEST_H)
    return rises


def zone_h(longitude_deg: float) -> int:
    """Return the offset of the nearest full-hour zone from UTC, in hours."""
    return round(((longitude_deg + 180.0) % 360.0 - 180.0) / 15.0)


def air_temperature_by_hour(
    *,
    air_temperature_min_c: FloatArray,
    air_temperature_max_c: FloatArray,
    sunrise_clock_h: FloatArray,
) -> FloatArray:
    """Lead the temperature from each day's low at sunrise to its high at 14:00 and on.

    Parameters
    ----------
    air_temperature_min_c, air_temperature_max_c : (..., days)
        Low and high of each day. [°C]
    sunrise_clock_h : (days,)
        As :func:`sunrise_h` gives it. [h]

    Returns
    -------
    (..., 24 days)
        Hours from the first midnight on, in local standard time; the hours of sunrise and of
        14:00 hold the low and the high themselves. NaN before the first low, after the last high,
        and beside a gap. [°C]

    References
    ----------
    de Wit, C. T. et al. (1978), Simulation of assimilation, respiration and transpiration of
    crops; Reicosky, D. C. et al. (1989), Accuracy of hourly air temperatures calculated from
    daily minima and maxima, Agricultural and Forest Meteorology 46, 193-209 (method WAVE).
    """
    days = sunrise_clock_h.size
    midnight_h = 24.0 * np.arange(days)[:, None]
    clock_h = np.stack((sunrise_clock_h, np.full(days, WARMEST_CLOCK_H)), axis=-1)
    turn_h = (midnight_h + clock_h).reshape(-1)  # low, high, low, high, ...
    # The clock is cut down before the days are added: 24 + 3.999... may round up to 28.
    turn_hour = (midnight_h + np.floor(clock_h)).reshape(-1).astype(np.int64)
    low_high = np.stack((air_temperature_min_c, air_temperature_max_c), axis=-1)
    turn_c = low_high.reshape(*low_high.shape[:-2], -1)
    middle = np.arange(24 * days) + 0.5
    left = np.searchsorted(turn_h, middle, side="right") - 1
    inside = (left >= 0) & (left < turn_h.size - 1)
    left = np.clip(left, 0, turn_h.size - 2)
    part = (middle - turn_h[left]) / (turn_h[left + 1] - turn_h[left])
    weight = (1.0 - np.cos(np.pi * part)) / 2.0
    hours: FloatArray = turn_c[..., left] * (1.0 - weight) + turn_c[..., left + 1] * weight
    hours[..., ~inside] = np.nan
    hours[..., turn_hour] = turn_c
    return hours


def amount_in_block(amount: FloatArray, *, rate_mm_h: float = BLOCK_RATE_MM_H) -> FloatArray:
    """Let each day's amount fall as one block around noon, so that no wet day passes as dry.

    Spread over 24 hours a day's 3 mm would lie below every hourly limit; at night it would not
    meet the work. The block is as long as the amount lasts at ``rate_mm_h``, 1 to 24 hours.

    Parameters
    ----------
    amount : (..., days)
        What fell in each day. [mm]
    rate_mm_h
        How much falls in one hour. [mm/h]

    Returns
    -------
    (..., 24 days)
        Amount of each hour; the sum of a day is kept; 24 gaps for a gap. [mm]
    """
    length = np.clip(np.ceil(np.nan_to_num(amount) / rate_mm_h), 1.0, 24.0)[..., None]
    begin = 12.0 - np.floor(length / 2.0)
    hour = np.arange(24.0)
    inside = (hour >= begin) & (hour < begin + length)
    hours: FloatArray = np.where(
        inside, amount[..., None] / length, np.where(np.isnan(amount)[..., None], np.nan, 0.0)
    )
    return hours.reshape(*amount.shape[:-1], -1)
