"""What the faces of an element feel by hour: wind, cold sky, sun, covers, heated enclosure.

Each protection gives for every hour the conductance from the face to its surroundings and the
temperature of those surroundings that does the same as air, sky and sun together (sol-air
temperature). Wind comes in classes, so that the exact step for each is made once.

The cold side is kept wherever a choice has to be made: wind counts as the top of its class for the
film and as it is for the cold sky; a column that is missing counts as ``SUBSTITUTES`` says and is
named in ``assumed``. Only air temperature has no substitute: an hour without it is not known.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
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
# What counts where a column is missing: fresh wind, clear sky, dry air, wet covers. Cold side of a
# late-season day; common practice, no source.
SUBSTITUTES: Final = {"wind_speed_ms": 6.0, "cloud_area_fraction_pct": 0.0}
DRY_AIR_K: Final = 10.0  # dew point below the air
WINDY_MS: Final = 6.7  # 15 mph, where the masonry standard asks for wind breaks (TMS 602 1.8 C)


@dataclass(frozen=True, slots=True)
class FaceWeather:
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
    strongest: int  # row that lets most heat through, of those that occur
    assumed: tuple[str, ...] = ()  # columns that some hour or all had to do without

    def first(self, count: int) -> Surroundings:
        """Return the first so many scenarios."""
        return replace(self, face_c=self.face_c[:count], kind=self.kind[:count])


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
    kelvin = air_temperature_c + 273.15
    return (
        4.0 + 4.0 * wind_speed_ms + 4.0 * EMISSIVITY * STEFAN_BOLTZMANN * kelvin * kelvin * kelvin
    )


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
    square = (air_temperature_c + 273.15) * (air_temperature_c + 273.15)
    return EMISSIVITY * sky_view * STEFAN_BOLTZMANN * missing * square * square


def surroundings(
    weather: FaceWeather, place: Place, kinds: Sequence[Cover], section: Section
) -> tuple[Surroundings, ...]:
    """Return what the faces of an element feel by hour under each cover.

    Parameters
    ----------
    weather : FaceWeather
        Hours, one trace or many.
    place : Place
        Site, direction, and the ground's temperature where the element lies on it.
    kinds : Cover, one or more
        On every face in air.
    section : Section
        Tells whether the first face looks up and what lies behind the second.

    Returns
    -------
    Surroundings, one for each cover
        NaN where air temperature is not known.

    Raises
    ------
    OutOfRange
        If a wind is negative, a cloud share leaves 0 to 100, or an element on ground comes
        without the ground's temperature.
    """
    if section.far_resistance_m2k_w is not None and place.ground_c is None:
        raise OutOfRange(f"{section.name} lies on ground; say how warm the ground is")
    felt = outdoors(weather, place, level=section.level)
    return tuple(_under(cover, felt, place, section) for cover in kinds)


@dataclass(frozen=True, slots=True)
class Outdoors:
    """What weather does to bare faces, whatever the cover; shapes broadcast to (..., hours)."""

    air_c: FloatArray
    first_c: FloatArray  # sol-air without sun
    second_c: FloatArray
    sun_k: FloatArray  # gain of the first face for an absorptance of one
    wind_class: NDArray[np.intp]
    hit: NDArray[np.bool_]  # wet or windy
    assumed: tuple[str, ...]

    def first_face_c(self, absorptance: float) -> FloatArray:
        """Return the sol-air temperature of the first face, sun included."""
        face: FloatArray = self.first_c + absorptance * self.sun_k
        return face


def _under(cover: Cover, felt: Outdoors, place: Place, section: Section) -> Surroundings:
    air = felt.air_c
    if cover.air_c is not None:
        inside = np.maximum(air, cover.air_c)
        faces = _both_faces(inside, inside, place, section)
        kind = np.zeros(air.shape, dtype=np.int16)
        return Surroundings(faces, kind, _conductances(np.array([STILL_AIR_W_M2K]), section), 0)
    first = felt.first_face_c(cover.absorptance)
    kind = (felt.wind_class + WIND_TOPS_MS.size * felt.hit).astype(np.int16)
    through = _conductances(_through(cover), section)
    occur = np.flatnonzero(np.bincount(kind.ravel()))
    return Surroundings(
        face_c=_both_faces(first, felt.second_c, place, section),
        kind=np.broadcast_to(kind, air.shape),
        face_w_m2k=through,
        strongest=int(occur[np.argmax(through[occur, 0])]),
        assumed=felt.assumed,
    )


def standing(
    *, level_c: FloatArray, cover: Cover, place: Place, section: Section, kind: int, hours: int
) -> Surroundings:
    """Return surroundings in which air, sky and wind stand still at a level.

    Parameters
    ----------
    level_c : (levels,)
        Sol-air temperature of every face in air; an enclosure keeps its own air above it. [°C]
    cover, place, section
        As ``surroundings``.
    kind
        Row of wind and wetness that holds, as ``surroundings`` numbers them.
    hours
        How long.

    Returns
    -------
    Surroundings
        (levels, hours).
    """
    level, through = level_c, _through(cover)[kind : kind + 1]
    if cover.air_c is not None:
        level, through = np.maximum(level_c, cover.air_c), np.array([STILL_AIR_W_M2K])
    felt = np.repeat(level[:, None], hours, axis=1)
    return Surroundings(
        face_c=_both_faces(felt, felt, place, section),
        kind=np.zeros(felt.shape, dtype=np.int16),
        face_w_m2k=_conductances(through, section),
        strongest=0,
    )


def outdoors(weather: FaceWeather, place: Place, *, level: bool = False) -> Outdoors:
    """Return what weather does to bare faces; ``level``: the first one looks up.

    Raises
    ------
    OutOfRange
        If a wind is negative or a cloud share leaves 0 to 100.
    """
    air = np.asarray(weather.air_temperature_c, dtype=np.float64)
    wind, cloud, dew, assumed = _known(weather, air)
    if (wind < 0.0).any():
        raise OutOfRange("wind is negative")
    if (cloud < 0.0).any() or (cloud > 100.0).any():
        raise OutOfRange("cloud leaves 0 to 100 %")
    loss = sky_loss_wm2(
        air_temperature_c=air,
        dew_point_temperature_c=np.minimum(dew, air),
        cloud_area_fraction_pct=cloud,
        sky_view=1.0,
    ) / film_w_m2k(wind, air)
    top = np.minimum(np.searchsorted(WIND_TOPS_MS, wind), WIND_TOPS_MS.size - 1)
    sun = np.zeros(())
    if place.sun:
        film = film_w_m2k(WIND_TOPS_MS[top], air)
        sun = _sun_on_face_wm2(weather, place, cloud, level=level) / film
    return Outdoors(
        air_c=air,
        first_c=air - loss * (1.0 if level else 0.5),
        second_c=air - 0.5 * loss,
        sun_k=sun,
        wind_class=top,
        hit=_wet(weather.precipitation_amount_mm) | (wind > WINDY_MS),
        assumed=assumed,
    )


def _known(
    weather: FaceWeather, air: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, tuple[str, ...]]:
    """Return wind, cloud and dew point with their substitutes, and the names of those used."""
    columns: dict[str, tuple[FloatArray | None, FloatArray | float]] = {
        "wind_speed_ms": (weather.wind_speed_ms, SUBSTITUTES["wind_speed_ms"]),
        "cloud_area_fraction_pct": (
            weather.cloud_area_fraction_pct,
            SUBSTITUTES["cloud_area_fraction_pct"],
        ),
        "dew_point_temperature_c": (weather.dew_point_temperature_c, air - DRY_AIR_K),
        "precipitation_amount_mm": (weather.precipitation_amount_mm, 0.0),
    }
    filled, assumed = [], []
    for name, (given, instead) in columns.items():
        if given is None or np.isnan(given).any():
            assumed.append(name)
        gap = np.ones((), np.bool_) if given is None else np.isnan(given)
        filled.append(np.where(gap, instead, 0.0 if given is None else given))
    wind, cloud, dew, _ = filled
    return wind, cloud, dew, tuple(assumed)


def _sun_on_face_wm2(
    weather: FaceWeather, place: Place, cloud_pct: FloatArray, *, level: bool
) -> FloatArray:
    """Return the sun on the first face: as forecast, else clear sky under the cloud.

    A sky whose cloud is not known gives what a covered one does.
    """
    elevation, _ = sun_position(
        moments=weather.start, latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg
    )
    given = weather.cloud_area_fraction_pct
    dull = 100.0 if given is None else np.where(np.isnan(given), 100.0, cloud_pct)
    given_wm2 = under_cloud_wm2(clear_sky_wm2(elevation), np.asarray(dull))
    if weather.shortwave_wm2 is not None:
        given_wm2 = np.where(np.isnan(weather.shortwave_wm2), given_wm2, weather.shortwave_wm2)
    return on_face_wm2(
        moments=weather.start,
        level_wm2=given_wm2,
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        azimuth_deg=place.azimuth_deg,
        tilt_deg=0.0 if level else 90.0,
    )


def _wet(rain_mm: FloatArray | None) -> NDArray[np.bool_]:
    """Return the hours in which covers are wet; hours whose rain is not known are."""
    if rain_mm is None:
        return np.ones((), dtype=np.bool_)
    raining = ~(rain_mm < TRACE_MM)
    hours = np.arange(raining.shape[-1])
    last = np.maximum.accumulate(np.where(raining, hours, -DRY_OUT_H - 1), axis=-1)
    return hours - last <= DRY_OUT_H


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
