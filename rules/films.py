"""What the faces of an element feel by hour: wind, cold sky, sun, covers, heated enclosure.

Each protection gives for every hour the conductance from the face to its surroundings and the
temperature of those surroundings that does the same as air, sky and sun together (sol-air
temperature). Wind comes in classes, so that the exact step for each is made once.

The cold side is kept wherever a choice has to be made: wind counts as the top of its class for the
film, as it is for the cold sky; a column that is missing counts as its cold extreme and is named
in ``assumed``. Only air temperature has no substitute: an hour without it is not known.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.elements import Section
from rules.errors import OutOfRange
from rules.sun import clear_sky_wm2, on_face_wm2, sun_position, under_cloud_wm2
from rules.verdict import FloatArray

STEFAN_BOLTZMANN: Final = 5.670374419e-8  # W/m²/K⁴, CODATA 2018
EMISSIVITY: Final = 0.9  # masonry, concrete, wood, plastic: ISO 6946:2017 table C.1, from memory
ABSORPTANCE: Final = 0.6  # grey concrete; ASHRAE Fundamentals 2017 chapter 26, from memory
# Top of each wind class [m/s]; the last one is for anything stronger.
WIND_TOPS_MS: Final = np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.5, 8.0, 10.0, 13.0, 17.0, 25.0])
STILL_AIR_W_M2K: Final = 1.0 / 0.13  # ISO 6946:2017 table 7, heat flow level
DRY_OUT_H: Final = 12  # a cover counts as wet this long after rain; common practice, no source
TRACE_MM: Final = 0.2  # rain that wets a cover; common practice, no source
DRY_AIR_K: Final = 15.0  # dew point this far below the air where it is not known; no source
WINDY_MS: Final = 6.7  # 15 mph, where the masonry standard asks for wind breaks (TMS 602 1.8 C)


@dataclass(frozen=True, slots=True)
class Weather:
    """Columns that the faces of an element feel, each (..., hours), gaps as NaN."""

    start: NDArray[np.datetime64]  # (hours,) UTC
    air_temperature_c: FloatArray
    wind_speed_ms: FloatArray | None = None
    cloud_area_fraction_pct: FloatArray | None = None
    dew_point_temperature_c: FloatArray | None = None
    precipitation_amount_mm: FloatArray | None = None
    shortwave_wm2: FloatArray | None = None


@dataclass(frozen=True, slots=True)
class Place:
    """Where the element stands and where its first face looks."""

    latitude_deg: float
    longitude_deg: float
    sun: bool = False  # counted only where asked for: leaving it out is the cold side
    azimuth_deg: float = 180.0  # where a wall's first face looks, clockwise from north
    ground_c: float | None = None  # temperature of the ground beyond the last layer


@dataclass(frozen=True, slots=True)
class Cover:
    """One way of protecting an element; a row of ``rules/book/covers.toml``."""

    measure: str  # word of the answer; "" for bare
    resistance_m2k_w: float = 0.0  # dry and still
    wet_or_windy_share: float = 1.0  # of the resistance that is left
    absorptance: float = ABSORPTANCE
    air_c: float | None = None  # heated enclosure: kept at this at least
    source: str = ""
    verify: bool = True


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the faces feel under one cover."""

    face_c: FloatArray  # (..., hours, 2) at the beginning of each hour
    kind: NDArray[np.int16]  # (..., hours) row of ``face_w_m2k`` that holds in the hour
    face_w_m2k: FloatArray  # (kinds, 2)
    assumed: tuple[str, ...] = ()  # columns taken at their cold extreme, for some hour or all


@cache
def covers() -> Mapping[str, Cover]:
    """Return the covers of the book by name: bare, membrane, blanket, enclosure."""
    text = resources.files("rules").joinpath("book/covers.toml").read_text(encoding="utf-8")
    return {name: Cover(**row) for name, row in tomllib.loads(text).items()}


def film_w_m2k(wind_speed_ms: FloatArray, air_temperature_c: FloatArray) -> FloatArray:
    """Return convection and radiation from a face to surroundings at air temperature.

    References
    ----------
    ISO 6946:2017 annex C: 4 + 4 v and 4 ε σ T³.
    """
    return 4.0 + 4.0 * wind_speed_ms + _radiation_w_m2k(air_temperature_c)


def _radiation_w_m2k(air_temperature_c: FloatArray) -> FloatArray:
    return 4.0 * EMISSIVITY * STEFAN_BOLTZMANN * (air_temperature_c + 273.15) ** 3


def sky_loss_wm2(
    *,
    air_temperature_c: FloatArray,
    dew_point_temperature_c: FloatArray,
    cloud_area_fraction_pct: FloatArray,
    sky_view: float,
) -> FloatArray:
    """Return what a face at air temperature loses to a sky that is colder than the air.

    Parameters
    ----------
    air_temperature_c, dew_point_temperature_c : (..., hours)
        [°C]
    cloud_area_fraction_pct : (..., hours)
        [%]
    sky_view
        Share of the face's view that is sky: 1 level, 0.5 a wall.

    Returns
    -------
    (..., hours)
        Never below zero. [W/m²]

    References
    ----------
    G. Clark and C. Allen, The Estimation of Atmospheric Radiation for Clear and Cloudy Skies,
    2nd National Passive Solar Conference, 1978, as printed in the EnergyPlus Engineering
    Reference: 0.787 + 0.764 ln(dew point / 273 K), with the cloud polynomial in tenths.
    """
    tenths = cloud_area_fraction_pct / 10.0
    clear = 0.787 + 0.764 * np.log((dew_point_temperature_c + 273.15) / 273.0)
    cloud = 1.0 + 0.0224 * tenths - 0.0035 * tenths**2 + 0.00028 * tenths**3
    missing = np.maximum(1.0 - clear * cloud, 0.0)
    air = STEFAN_BOLTZMANN * (air_temperature_c + 273.15) ** 4
    return EMISSIVITY * sky_view * missing * air


def surroundings(weather: Weather, place: Place, cover: Cover, section: Section) -> Surroundings:
    """Return what the faces of an element feel by hour under a cover.

    Parameters
    ----------
    weather : Weather
        Hours, one trace or many.
    place : Place
        Site, direction, and the ground's temperature where the element lies on it.
    cover : Cover
        On every face in air.
    section : Section
        Tells whether the first face looks up and what lies behind the second.

    Returns
    -------
    Surroundings
        NaN where air temperature is not known.

    Raises
    ------
    OutOfRange
        If a wind is negative, a cloud share leaves 0 to 100, or an element on ground comes
        without the ground's temperature.
    """
    if section.far_resistance_m2k_w is not None and place.ground_c is None:
        raise OutOfRange(f"{section.name} lies on ground; say how warm the ground is")
    air = np.asarray(weather.air_temperature_c, dtype=np.float64)
    if cover.air_c is not None:
        inside = np.maximum(air, cover.air_c)
        faces = _both_faces(inside, inside, place, section)
        kind = np.zeros(air.shape, dtype=np.int16)
        return Surroundings(faces, kind, _conductances(np.array([STILL_AIR_W_M2K]), section))
    wind, no_wind = _or_extreme(weather.wind_speed_ms, air, 10.0)
    if (wind < 0.0).any():
        raise OutOfRange("wind is negative")
    top = np.minimum(np.searchsorted(WIND_TOPS_MS, wind), WIND_TOPS_MS.size - 1)
    wet, no_rain = _wet(weather.precipitation_amount_mm, air)
    first, second, assumed = _faces_in_air(
        weather, place, cover, section, calm=np.where(no_wind, 0.0, wind), top=top
    )
    if no_wind.any():
        assumed = ("wind_speed_ms", *assumed)
    if no_rain and cover.wet_or_windy_share < 1.0:
        assumed = (*assumed, "precipitation_amount_mm")
    return Surroundings(
        face_c=_both_faces(first, second, place, section),
        kind=(top + WIND_TOPS_MS.size * (wet | (wind > WINDY_MS))).astype(np.int16),
        face_w_m2k=_conductances(_through(cover), section),
        assumed=assumed,
    )


def _faces_in_air(
    weather: Weather,
    place: Place,
    cover: Cover,
    section: Section,
    *,
    calm: FloatArray,
    top: NDArray[np.intp],
) -> tuple[FloatArray, FloatArray, tuple[str, ...]]:
    """Return the sol-air temperatures of the first and second face, and what was assumed."""
    air = np.asarray(weather.air_temperature_c, dtype=np.float64)
    cloud, no_cloud = _or_extreme(weather.cloud_area_fraction_pct, air, 0.0)
    if (cloud < 0.0).any() or (cloud > 100.0).any():
        raise OutOfRange("cloud leaves 0 to 100 %")
    dew, no_dew = _or_extreme(weather.dew_point_temperature_c, air, air - DRY_AIR_K)
    loss = sky_loss_wm2(
        air_temperature_c=air,
        dew_point_temperature_c=np.minimum(dew, air),
        cloud_area_fraction_pct=cloud,
        sky_view=1.0,
    ) / film_w_m2k(calm, air)
    sun = np.zeros_like(air)
    if place.sun:
        level = _level_sun_wm2(weather, place, np.where(no_cloud, 100.0, cloud))
        gain = on_face_wm2(
            moments=weather.start,
            level_wm2=level,
            latitude_deg=place.latitude_deg,
            longitude_deg=place.longitude_deg,
            azimuth_deg=place.azimuth_deg,
            tilt_deg=0.0 if section.level else 90.0,
        )
        sun = cover.absorptance * gain / film_w_m2k(WIND_TOPS_MS[top], air)
    first = air + sun - loss * (1.0 if section.level else 0.5)
    names = [("cloud_area_fraction_pct", no_cloud), ("dew_point_temperature_c", no_dew)]
    return first, air - 0.5 * loss, tuple(name for name, gap in names if gap.any())


def _level_sun_wm2(weather: Weather, place: Place, cloud_pct: FloatArray) -> FloatArray:
    """Return sun and sky on a level surface: as forecast, else clear sky under the cloud."""
    elevation, _ = sun_position(
        moments=weather.start, latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg
    )
    computed = under_cloud_wm2(clear_sky_wm2(elevation), cloud_pct)
    if weather.shortwave_wm2 is None:
        return computed
    return np.where(np.isnan(weather.shortwave_wm2), computed, weather.shortwave_wm2)


def _or_extreme(
    column: FloatArray | None, air: FloatArray, extreme: FloatArray | float
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Return a column with its gaps at the cold extreme, and where they were."""
    if column is None:
        return np.broadcast_to(extreme, air.shape) + 0.0, np.ones(air.shape, dtype=np.bool_)
    gap = np.isnan(column)
    return np.where(gap, extreme, column) + np.zeros(air.shape), gap | np.zeros_like(air, np.bool_)


def _wet(rain_mm: FloatArray | None, air: FloatArray) -> tuple[NDArray[np.bool_], bool]:
    """Return the hours in which covers are wet, and whether some were only assumed to be."""
    if rain_mm is None:
        return np.ones(air.shape, dtype=np.bool_), True
    raining = ~(rain_mm < TRACE_MM)  # a gap counts as rain
    hours = np.arange(raining.shape[-1])
    last = np.maximum.accumulate(np.where(raining, hours, -DRY_OUT_H - 1), axis=-1)
    return (hours - last <= DRY_OUT_H) | np.zeros_like(air, np.bool_), bool(
        np.isnan(rain_mm).any()
    )


def _both_faces(
    first: FloatArray, second: FloatArray, place: Place, section: Section
) -> FloatArray:
    """Return (..., hours, 2); behind an element on ground there is the ground."""
    if section.far_resistance_m2k_w is not None and place.ground_c is not None:
        second = np.where(np.isnan(first), np.nan, place.ground_c)
    return np.stack([first, second], axis=-1)


def _through(cover: Cover) -> FloatArray:
    """Return the conductance of film and cover: wind classes dry, then wet or windy."""
    film = 1.0 / film_w_m2k(WIND_TOPS_MS, np.zeros_like(WIND_TOPS_MS))
    dry, hit = cover.resistance_m2k_w, cover.resistance_m2k_w * cover.wet_or_windy_share
    return 1.0 / np.concatenate([film + dry, film + hit])


def _conductances(first_w_m2k: FloatArray, section: Section) -> FloatArray:
    """Return (kinds, 2): the second face as the first, or through the ground."""
    far = section.far_resistance_m2k_w
    second = first_w_m2k if far is None else np.full_like(first_w_m2k, 1.0 / far)
    return np.stack([first_w_m2k, second], axis=-1)
