"""Where the sun stands and what it gives to a face, from a clear-sky formula and the cloud."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.errors import OutOfRange
from rules.verdict import FloatArray

SOLAR_CONSTANT_WM2: Final = 1361.0  # Kopp and Lean, Geophysical Research Letters 38, 2011
GROUND_ALBEDO: Final = 0.2  # bare soil and short grass; Muneer 2004, table 3.6, from memory


def sun_position(
    *, moments: NDArray[np.datetime64], latitude_deg: float, longitude_deg: float
) -> tuple[FloatArray, FloatArray]:
    """Return the sun's elevation and azimuth.

    Parameters
    ----------
    moments : (...)
        UTC.
    latitude_deg, longitude_deg
        North and east positive. [degree]

    Returns
    -------
    elevation_deg, azimuth_deg : (...), (...)
        Above the horizon, without refraction; clockwise from north. [degree]

    Raises
    ------
    OutOfRange
        If the place is not on the globe.

    References
    ----------
    J. J. Michalsky, The Astronomical Almanac's algorithm for approximate solar position
    (1950-2050), Solar Energy 40, 1988: within 0.01 degree.
    """
    if not (-90.0 <= latitude_deg <= 90.0 and -180.0 <= longitude_deg <= 360.0):
        raise OutOfRange(f"place {latitude_deg}, {longitude_deg} is not on the globe")
    since = moments - np.datetime64("2000-01-01T12:00")
    days = since / np.timedelta64(1, "s") / 86400.0
    anomaly = np.radians(357.528 + 0.9856003 * days)
    mean_longitude = 280.460 + 0.9856474 * days
    ecliptic = np.radians(mean_longitude + 1.915 * np.sin(anomaly) + 0.020 * np.sin(2.0 * anomaly))
    tilt = np.radians(23.439 - 0.0000004 * days)
    ascension = np.arctan2(np.cos(tilt) * np.sin(ecliptic), np.cos(ecliptic))
    declination = np.arcsin(np.sin(tilt) * np.sin(ecliptic))
    clock_h = (days + 0.5) % 1.0 * 24.0
    sidereal_h = 6.697375 + 0.0657098242 * days + clock_h
    hour_angle = np.radians(sidereal_h * 15.0 + longitude_deg) - ascension
    return _horizontal(np.radians(latitude_deg), declination, hour_angle)


def _horizontal(
    latitude: float, declination: FloatArray, hour_angle: FloatArray
) -> tuple[FloatArray, FloatArray]:
    up = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(
        hour_angle
    )
    east = -np.cos(declination) * np.sin(hour_angle)
    north = np.cos(latitude) * np.sin(declination) - np.sin(latitude) * np.cos(
        declination
    ) * np.cos(hour_angle)
    elevation = np.degrees(np.arcsin(np.clip(up, -1.0, 1.0)))
    return elevation, np.degrees(np.arctan2(east, north)) % 360.0


def clear_sky_wm2(elevation_deg: FloatArray) -> FloatArray:
    """Return sun and sky on a level surface under a clear sky.

    Parameters
    ----------
    elevation_deg : (...)
        Of the sun. [degree]

    Returns
    -------
    (...)
        Zero below the horizon. [W/m²]

    References
    ----------
    B. Haurwitz, Journal of Meteorology 2, 1945 and 3, 1946, as M. Reno, C. Hansen and J. Stein
    print it (Sandia SAND2012-2389): 1098 cos z exp(−0.059 / cos z).
    """
    up = np.sin(np.radians(np.maximum(elevation_deg, 0.0)))
    with np.errstate(divide="ignore"):
        return 1098.0 * up * np.exp(-0.059 / up)


def under_cloud_wm2(clear_wm2: FloatArray, cloud_area_fraction_pct: FloatArray) -> FloatArray:
    """Return sun and sky on a level surface under cloud, NaN where the cloud is not known.

    References
    ----------
    F. Kasten and G. Czeplak, Solar Energy 24, 1980: 1 − 0.75 (N/8)^3.4 of the clear sky.
    """
    return clear_wm2 * (1.0 - 0.75 * (cloud_area_fraction_pct / 100.0) ** 3.4)


def split_wm2(
    level_wm2: FloatArray, elevation_deg: FloatArray, day_of_year: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Split sun and sky on a level surface into the direct beam and the diffuse part.

    Parameters
    ----------
    level_wm2 : (...)
        Sun and sky on a level surface. [W/m²]
    elevation_deg : (...)
        Of the sun. [degree]
    day_of_year : (...)
        1 to 366.

    Returns
    -------
    beam_wm2, diffuse_wm2 : (...), (...)
        Beam on a surface that faces the sun, none below 3 degrees; diffuse on a level surface.

    References
    ----------
    D. G. Erbs, S. A. Klein and J. A. Duffie, Solar Energy 28, 1982. Outside the atmosphere:
    J. W. Spencer, Search 2, 1971, first term.
    """
    up = np.sin(np.radians(elevation_deg))
    outside = SOLAR_CONSTANT_WM2 * (1.0 + 0.033 * np.cos(2.0 * np.pi * day_of_year / 365.0))
    clearness = np.clip(level_wm2 / (outside * np.maximum(up, 0.065)), 0.0, 1.0)
    middle = (
        0.9511
        - 0.1604 * clearness
        + 4.388 * clearness**2
        - 16.638 * clearness**3
        + 12.336 * clearness**4
    )
    share = np.where(clearness <= 0.22, 1.0 - 0.09 * clearness, middle)
    share = np.where(clearness > 0.80, 0.165, share)
    diffuse = share * level_wm2
    high = elevation_deg > 3.0
    beam = np.where(high, (level_wm2 - diffuse) / np.where(high, up, 1.0), 0.0)
    return beam, diffuse


def on_face_wm2(
    *,
    moments: NDArray[np.datetime64],
    level_wm2: FloatArray,
    latitude_deg: float,
    longitude_deg: float,
    azimuth_deg: float,
    tilt_deg: float = 90.0,
) -> FloatArray:
    """Return sun and sky on a face.

    Parameters
    ----------
    moments : (hours,)
        UTC.
    level_wm2 : (..., hours)
        Sun and sky on a level surface. [W/m²]
    latitude_deg, longitude_deg
        Of the site. [degree]
    azimuth_deg
        Where the face looks, clockwise from north. [degree]
    tilt_deg
        0 looks up, 90 is a wall. [degree]

    Returns
    -------
    (..., hours)
        Beam, sky and light from the ground together. [W/m²]

    References
    ----------
    B. Y. H. Liu and R. C. Jordan, Solar Energy 7, 1963: even sky and ground.
    """
    elevation, azimuth = sun_position(
        moments=moments, latitude_deg=latitude_deg, longitude_deg=longitude_deg
    )
    years = moments.astype("datetime64[Y]")
    day_of_year = (moments - years) // np.timedelta64(1, "D") + 1.0
    beam, diffuse = split_wm2(level_wm2, elevation, day_of_year)
    tilt, high = np.radians(tilt_deg), np.radians(elevation)
    facing = np.cos(high) * np.sin(tilt) * np.cos(np.radians(azimuth - azimuth_deg))
    facing = np.maximum(facing + np.sin(high) * np.cos(tilt), 0.0)
    sky = diffuse * (1.0 + np.cos(tilt)) / 2.0
    ground = level_wm2 * GROUND_ALBEDO * (1.0 - np.cos(tilt)) / 2.0
    face: FloatArray = beam * facing + sky + ground
    return face
