"""Hours made from days, against hand-worked values, outside libraries and the service's own."""

from __future__ import annotations

import json
from datetime import datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.diurnal import air_temperature_by_hour, amount_in_block, sunrise_h, zone_h
from tests.recorded_data import recorded


def test_the_course_of_a_day_worked_by_hand() -> None:
    hours = air_temperature_by_hour(
        air_temperature_min_c=np.array([0.0, 2.0]),
        air_temperature_max_c=np.array([10.0, 12.0]),
        sunrise_clock_h=np.array([6.0, 6.0]),
    )
    assert np.isnan(hours[:6]).all(), "before the first low nothing is known"
    assert (hours[6], hours[14], hours[30], hours[38]) == (0.0, 10.0, 2.0, 12.0)
    # middle of the hour from 10:00: 4.5 of 8 h on the way up, 10 (1 - cos 101.25 deg) / 2
    assert hours[10] == pytest.approx(5.9755, abs=1e-4)
    # middle of the hour from 21:00: 7.5 of 16 h on the way down, 10 - 8 (1 - cos 84.375 deg) / 2
    assert hours[21] == pytest.approx(6.3921, abs=1e-4)
    assert np.isnan(hours[39:]).all(), "after the last high nothing is known"


def test_a_gap_leaves_only_its_neighbours_unknown() -> None:
    low, high = np.zeros(4), np.full(4, 10.0)
    high[1] = np.nan
    hours = air_temperature_by_hour(
        air_temperature_min_c=low, air_temperature_max_c=high, sunrise_clock_h=np.full(4, 6.0)
    )
    gap = np.flatnonzero(np.isnan(hours[6:87])) + 6
    assert (gap.min(), gap.max()) == (31, 53), "from the low before to the low after the lost high"


@given(
    low=st.lists(st.floats(-40, 30), min_size=3, max_size=12),
    swing=st.floats(0, 30),
    sunrise=st.floats(3, 10),
)
def test_each_day_keeps_its_low_and_high(low: list[float], swing: float, sunrise: float) -> None:
    cold = np.array(low)
    hours = air_temperature_by_hour(
        air_temperature_min_c=cold,
        air_temperature_max_c=cold + swing,
        sunrise_clock_h=np.full(cold.size, sunrise),
    ).reshape(-1, 24)
    at = int(sunrise)
    np.testing.assert_array_equal(hours[:, at], cold)
    np.testing.assert_array_equal(hours[:, 14], cold + swing)
    warm = hours[:, at:15]
    assert (np.diff(warm, axis=1) >= -1e-9).all(), "from sunrise to 14:00 it only gets warmer"


def test_scenarios_broadcast_over_leading_axes() -> None:
    low = np.arange(12.0).reshape(3, 4)
    many = air_temperature_by_hour(
        air_temperature_min_c=low, air_temperature_max_c=low + 5, sunrise_clock_h=np.full(4, 7.2)
    )
    for row in range(3):
        one = air_temperature_by_hour(
            air_temperature_min_c=low[row],
            air_temperature_max_c=low[row] + 5,
            sunrise_clock_h=np.full(4, 7.2),
        )
        np.testing.assert_array_equal(many[row], one)


@given(
    amounts=st.lists(st.floats(0, 400), min_size=1, max_size=8),
    rate=st.sampled_from([1.0, 10.0]),
)
def test_the_sum_of_a_day_is_kept_and_no_wet_day_passes_as_dry(
    amounts: list[float], rate: float
) -> None:
    hours = amount_in_block(np.array(amounts), rate_mm_h=rate).reshape(-1, 24)
    np.testing.assert_allclose(hours.sum(axis=1), amounts, rtol=1e-12)
    for amount, day in zip(amounts, hours, strict=True):
        if amount > rate:
            assert day.max() > rate / 2 - 1e-9


def test_a_days_rain_worked_by_hand() -> None:
    hours = amount_in_block(np.array([4.5, 0.0, np.nan]))
    assert list(np.flatnonzero(hours[:24])) == [10, 11, 12, 13, 14]
    assert hours[10] == pytest.approx(0.9)
    assert (hours[24:48] == 0).all()
    assert np.isnan(hours[48:]).all()


@pytest.mark.parametrize(
    ("latitude", "longitude"), [(44.9, -93.2), (25.8, -80.2), (60.0, 10.0), (-33.9, 151.2)]
)
def test_sunrise_agrees_with_an_outside_library(latitude: float, longitude: float) -> None:
    pd = pytest.importorskip("pandas")
    solarposition = pytest.importorskip("pvlib.solarposition")
    days = np.arange("2025-01-01", "2026-01-01", 15, dtype="datetime64[D]")
    zone = zone_h(longitude)
    noon = pd.DatetimeIndex(days + np.timedelta64(12, "h")).tz_localize(zone * 3600)
    rises = solarposition.sun_rise_set_transit_spa(noon, latitude, longitude)["sunrise"]
    midnight = pd.DatetimeIndex(days).tz_localize(zone * 3600)
    expected = (rises.array - midnight) / pd.Timedelta(hours=1)
    ours = sunrise_h(day=days, latitude_deg=latitude, longitude_deg=longitude)
    np.testing.assert_allclose(ours, np.clip(expected, 3, 10), atol=5 / 60)


def test_sunrise_agrees_with_the_weather_services_own() -> None:
    told = json.loads(recorded("nws", "nws-points-aly-2026-07-15.json").read_text())
    sun = datetime.fromisoformat(told["properties"]["astronomicalData"]["sunrise"])
    longitude, latitude = told["geometry"]["coordinates"]
    hours = sunrise_h(
        day=np.array([sun.date()], dtype="datetime64[D]"),
        latitude_deg=latitude,
        longitude_deg=longitude,
    )
    standard = sun.hour + sun.minute / 60 - 1  # the service gives daylight time
    assert hours[0] == pytest.approx(standard, abs=5 / 60)


def test_midnight_sun_and_polar_night_keep_a_morning() -> None:
    days = np.array(["2026-06-21", "2026-12-21"], dtype="datetime64[D]")
    assert list(sunrise_h(day=days, latitude_deg=71.3, longitude_deg=-156.8)) == [3.0, 10.0]
