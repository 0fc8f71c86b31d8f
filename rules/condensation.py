"""Dew on a surface: its temperature against the dew point, by elevation and sun.

Sealant, tape and coatings fail on a film of water that nobody sees. A light surface (sheathing,
flashing, window frame) follows air, sky and sun within minutes, so its temperature is the one at
which it neither gains nor loses; a heavy wall's comes from the wall model.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from rules.errors import OutOfRange
from rules.films import FaceWeather, Place, outdoors
from rules.verdict import FloatArray


def saturation_pressure_pa(temperature_c: FloatArray) -> FloatArray:
    """Return the vapour pressure over water, or over ice below 0 °C.

    References
    ----------
    ASHRAE Handbook Fundamentals 2017, chapter 1, equations 5 and 6 (Hyland and Wexler 1983).
    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + 273.15
    ice = (
        -5.6745359e3 / kelvin
        + 6.3925247
        - 9.677843e-3 * kelvin
        + 6.2215701e-7 * kelvin**2
        + 2.0747825e-9 * kelvin**3
        - 9.484024e-13 * kelvin**4
        + 4.1635019 * np.log(kelvin)
    )
    water = (
        -5.8002206e3 / kelvin
        + 1.3914993
        - 4.8640239e-2 * kelvin
        + 4.1764768e-5 * kelvin**2
        - 1.4452093e-8 * kelvin**3
        + 6.5459673 * np.log(kelvin)
    )
    return np.exp(np.where(kelvin < 273.16, ice, water))


def dew_point_c(*, air_temperature_c: FloatArray, relative_humidity_pct: FloatArray) -> FloatArray:
    """Return the temperature at which dew, or frost below 0 °C, forms.

    Parameters
    ----------
    air_temperature_c : (...)
        [°C]
    relative_humidity_pct : (...)
        Over water or ice as the temperature has it, above 0 to 100. [%]

    Returns
    -------
    (...)
        Never above the air; NaN where an input is NaN or the air is bone dry. [°C]

    Raises
    ------
    OutOfRange
        If humidity leaves 0 to 100.

    References
    ----------
    ASHRAE Handbook Fundamentals 2017, chapter 1: saturation pressure, inverted.
    """
    humidity = np.asarray(relative_humidity_pct, dtype=np.float64)
    if (humidity < 0.0).any() or (humidity > 100.0).any():
        raise OutOfRange("relative humidity leaves 0 to 100 %")
    air, humidity = np.broadcast_arrays(np.asarray(air_temperature_c, np.float64), humidity)
    known = np.isfinite(air) & (humidity > 0.0)  # an hour nobody knows is not worked out
    out = np.full(air.shape, np.nan)
    out[known] = np.minimum(_inverted(air[known], humidity[known]), air[known])
    return out


def _inverted(air_c: FloatArray, humidity_pct: FloatArray) -> FloatArray:
    """Return the dew point by Newton's method, its slope from the Magnus form.

    The first guess is within 0.3 K and the slope within 1 %, so each round leaves at most a
    hundredth of the error: four rounds, under 1e-8 K.
    """
    wanted = np.log(saturation_pressure_pa(air_c) * humidity_pct / 100.0)
    found = _magnus_dew_c(air_c, humidity_pct)
    for _ in range(4):
        slope = 17.62 * 243.12 / (243.12 + found) ** 2
        found = found - (np.log(saturation_pressure_pa(found)) - wanted) / slope
    return found


def _magnus_dew_c(air_c: FloatArray, humidity_pct: FloatArray) -> FloatArray:
    """Return a first guess within a few tenths of a degree (Magnus form, WMO-No. 8)."""
    gamma = np.log(humidity_pct / 100.0) + 17.62 * air_c / (243.12 + air_c)
    return 243.12 * gamma / (17.62 - gamma)


def surface_by_elevation_c(
    *, weather: FaceWeather, place: Place, azimuths_deg: Sequence[float], absorptance: float = 0.6
) -> FloatArray:
    """Return the temperature of a thin outdoor surface on each elevation.

    Insulation or air lies behind it: it stands where it neither gains nor loses. Sun is taken for
    the windiest wind of its class, sky as cold as the cloud leaves it; see ``rules/films.py``.

    Parameters
    ----------
    weather : FaceWeather
        (..., hours)
    place : Place
        Where the building stands.
    azimuths_deg : (elevations,)
        Where each elevation looks, clockwise from north. [degree]
    absorptance
        Share of the sun that the surface takes up.

    Returns
    -------
    (elevations, ..., hours)
        NaN where air temperature is not known. [°C]
    """
    faces = [replace(place, sun=True, azimuth_deg=azimuth) for azimuth in azimuths_deg]
    return np.stack([outdoors(weather, face).first_face_c(absorptance) for face in faces])


def dew_margin_c(*, surface_temperature_c: FloatArray, dew_point_c: FloatArray) -> FloatArray:
    """Return how many kelvin the surface is above the dew point; at or below zero it is wet."""
    return surface_temperature_c - dew_point_c
