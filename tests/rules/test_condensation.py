"""Dew on surfaces: by elevation, sun, sky and wind."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.condensation import dew_margin_c, dew_point_c, surface_by_elevation_c
from rules.errors import OutOfRange
from rules.films import FaceWeather, Place

START = np.datetime64("2026-11-10T05")
PLACE = Place(44.3, -75.1)
NOON, NIGHT = 12, 22  # UTC hours 17 and 03: noon and 22:00 at 75 degrees west
COMPASS = (0.0, 90.0, 180.0, 270.0)


def weather(
    *, cloud: float = 0.0, wind: float = 2.0, air: float = 5.0, dew: float = 2.0
) -> FaceWeather:
    hours = 24
    return FaceWeather(
        start=START + np.arange(hours) * np.timedelta64(1, "h"),
        air_temperature_c=np.full(hours, air),
        wind_speed_ms=np.full(hours, wind),
        cloud_area_fraction_pct=np.full(hours, cloud),
        dew_point_temperature_c=np.full(hours, dew),
    )


def surfaces(told: FaceWeather) -> np.ndarray:
    return surface_by_elevation_c(weather=told, place=PLACE, azimuths_deg=COMPASS)


def test_the_south_wall_is_warm_at_noon_and_the_east_wall_in_the_morning() -> None:
    north, east, south, west = surfaces(weather())
    assert south[NOON] > 15.0 > north[NOON]
    assert east[NOON - 3] > west[NOON - 3] + 5.0
    assert west[NOON + 3] > east[NOON + 3] + 5.0


def test_on_a_clear_night_every_surface_is_colder_than_the_air_and_may_be_wet() -> None:
    clear, covered = surfaces(weather()), surfaces(weather(cloud=100.0))
    assert (clear[:, NIGHT] < 5.0 - 1.0).all()
    assert (covered[:, NIGHT] > clear[:, NIGHT]).all()
    assert np.ptp(clear[:, NIGHT]) < 1e-9
    damp = dew_margin_c(surface_temperature_c=clear, dew_point_c=np.full(24, 4.5))
    assert (damp[:, NIGHT] <= 0.0).all()
    assert damp[2, NOON] > 5.0


def test_wind_brings_a_surface_to_the_air() -> None:
    calm, windy = surfaces(weather(wind=0.5)), surfaces(weather(wind=12.0))
    assert abs(windy[0, NIGHT] - 5.0) < abs(calm[0, NIGHT] - 5.0)


def test_unknown_air_is_an_unknown_surface() -> None:
    told = weather()
    told.air_temperature_c[NOON] = np.nan
    found = surfaces(told)
    assert np.isnan(found[:, NOON]).all()
    assert np.isfinite(found[:, NIGHT]).all()


@given(air=st.floats(-25, 38), humidity=st.floats(5, 100))
def test_dew_point_is_never_above_the_air(air: float, humidity: float) -> None:
    dew = dew_point_c(
        air_temperature_c=np.array([air]), relative_humidity_pct=np.array([humidity])
    )[0]
    assert dew <= air + 1e-9
    damper = dew_point_c(
        air_temperature_c=np.array([air]), relative_humidity_pct=np.array([min(humidity + 5, 100)])
    )[0]
    assert damper >= dew - 1e-6


def test_gaps_and_bone_dry_air_have_no_dew_point() -> None:
    dew = dew_point_c(
        air_temperature_c=np.array([np.nan, 5.0, 5.0]),
        relative_humidity_pct=np.array([50.0, np.nan, 0.0]),
    )
    assert np.isnan(dew).all()
    with pytest.raises(OutOfRange, match="humidity"):
        dew_point_c(air_temperature_c=np.array([5.0]), relative_humidity_pct=np.array([120.0]))
