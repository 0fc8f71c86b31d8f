"""How air feels to people: wind chill and heat index."""

from __future__ import annotations

import numpy as np

from rules.condensation import dew_point_c
from rules.errors import OutOfRange
from rules.units import convert
from rules.verdict import FloatArray


def wind_chill(*, air_temperature_c: FloatArray, wind_speed_ms: FloatArray) -> FloatArray:
    """How cold moving air feels on bare skin.

    Parameters
    ----------
    air_temperature_c : (..., hours)
        Air temperature. [°C]
    wind_speed_ms : (..., hours)
        Mean wind 10 m above the ground. [m/s]

    Returns
    -------
    (..., hours)
        Wind chill; the air's own temperature above 50 °F or in wind under 3 mph, for which the
        formula is not stated; NaN where an input is NaN. [°C]

    Raises
    ------
    OutOfRange
        If wind is negative.

    References
    ----------
    National Weather Service and Environment Canada, wind chill index of 2001.
    """
    air_f = convert(np.asarray(air_temperature_c, dtype=np.float64), "degC", "degF")
    mph = convert(_not_negative(wind_speed_ms), "m/s", "mph")
    power = np.maximum(mph, 3.0) ** 0.16
    felt = 35.74 + 0.6215 * air_f - 35.75 * power + 0.4275 * air_f * power
    outside = (air_f > 50.0) | (mph < 3.0)
    known = np.where(outside & ~np.isnan(mph), air_f, felt)
    return convert(np.where(np.isnan(mph), np.nan, known), "degF", "degC")


def heat_index(*, air_temperature_c: FloatArray, relative_humidity_pct: FloatArray) -> FloatArray:
    """How hot damp air feels in the shade.

    Parameters
    ----------
    air_temperature_c : (..., hours)
        Air temperature. [°C]
    relative_humidity_pct : (..., hours)
        Relative humidity, 0 to 100. [%]

    Returns
    -------
    (..., hours)
        The simple form where its mean with the air stays under 80 °F, else the regression with
        its two adjustments; NaN where an input is NaN. [°C]

    Raises
    ------
    OutOfRange
        If humidity leaves 0 to 100.

    References
    ----------
    NOAA Weather Prediction Center, heat index equation (Rothfusz, NWS technical attachment
    SR 90-23; simple form of Steadman).
    """
    t = convert(np.asarray(air_temperature_c, dtype=np.float64), "degC", "degF")
    r = np.asarray(relative_humidity_pct, dtype=np.float64)
    if ((r < 0.0) | (r > 100.0)).any():
        raise OutOfRange("relative humidity is outside 0 to 100 %")
    simple = 0.5 * (t + 61.0 + (t - 68.0) * 1.2 + r * 0.094)
    felt = np.where((simple + t) / 2.0 < 80.0, simple, _regression(t, r))
    return convert(felt, "degF", "degC")


def _regression(t: FloatArray, r: FloatArray) -> FloatArray:
    """Return the regression in °F with the adjustments for dry and for damp air."""
    out = (
        -42.379 + 2.04901523 * t + 10.14333127 * r - 0.22475541 * t * r
        - 6.83783e-3 * t**2 - 5.481717e-2 * r**2 + 1.22874e-3 * t**2 * r
        + 8.5282e-4 * t * r**2 - 1.99e-6 * t**2 * r**2
    )  # fmt: skip
    dry = (13.0 - r) / 4.0 * np.sqrt(np.maximum(17.0 - np.abs(t - 95.0), 0.0) / 17.0)
    damp = (r - 85.0) / 10.0 * (87.0 - t) / 5.0
    out = np.where((r < 13.0) & (t >= 80.0) & (t <= 112.0), out - dry, out)
    return np.where((r > 85.0) & (t >= 80.0) & (t <= 87.0), out + damp, out)


def _not_negative(wind_speed_ms: FloatArray) -> FloatArray:
    wind = np.asarray(wind_speed_ms, dtype=np.float64)
    if (wind < 0.0).any():
        raise OutOfRange("wind is negative")
    return wind


def dew_point_margin(
    *,
    air_temperature_c: FloatArray,
    surface_temperature_c: FloatArray | None = None,
    dew_point_temperature_c: FloatArray | None = None,
    relative_humidity_pct: FloatArray | None = None,
) -> FloatArray:
    """How far a face is above the dew point; at or below zero it is wet.

    Parameters
    ----------
    air_temperature_c : (..., hours)
        Stands for the face where nobody gives that: in the sun a face is warmer, under a clear
        night sky colder. [°C]
    surface_temperature_c : (..., hours), optional
        The face, as read or by hour. [°C]
    dew_point_temperature_c : (..., hours), optional
        Dew point of the air. [°C]
    relative_humidity_pct : (..., hours), optional
        Gives the dew point where that is not given. [%]

    Returns
    -------
    (..., hours)
        The margin, NaN where it cannot be told. [K]
    """
    air = np.asarray(air_temperature_c, dtype=np.float64)
    face = air if surface_temperature_c is None else np.asarray(surface_temperature_c)
    face = np.where(np.isnan(face), air, face)
    if dew_point_temperature_c is not None:
        return np.asarray(face - dew_point_temperature_c, dtype=np.float64)
    if relative_humidity_pct is None:
        return np.full(face.shape, np.nan)
    humidity = np.clip(np.asarray(relative_humidity_pct, dtype=np.float64), 1.0, 100.0)
    dew = dew_point_c(air_temperature_c=air, relative_humidity_pct=humidity)
    return np.asarray(face - dew, dtype=np.float64)
