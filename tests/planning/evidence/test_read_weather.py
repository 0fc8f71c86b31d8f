"""Readings of the weather against the forecast (law 3). Common practice, no source, but for the
usual error: National Weather Service Milwaukee, November 2011, as forecast_error cites it."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from scheduler.planning.evidence.read_weather import (
    USUAL_ERROR,
    carried_until,
    weather_read,
    with_readings,
)
from scheduler.planning.model.job import Task
from scheduler.planning.model.log import Reading
from tests.planning.evidence.made import NOW, job, log, mild, read

MADE = job(Task("lay", "Lay", "lay_block", 8.0))
AIR, GUST = "air_temperature_c", "wind_speed_of_gust_ms"
SEVEN = 12  # hour of the table at which the shift begins: now


def laid(column: str, *what: Reading) -> np.ndarray:
    found = weather_read(MADE, log(*what), NOW + timedelta(hours=9))
    return with_readings(mild().table, found).columns[column]


def test_air_far_below_the_forecast_is_carried_to_the_end_of_the_shift() -> None:
    values = laid(AIR, read("air_temperature", -5.5, "degC", before_h=0.25))
    assert values[SEVEN - 1] == pytest.approx(-5.5)
    assert values[SEVEN : SEVEN + 9] == pytest.approx(np.full(9, -5.5))
    assert values[SEVEN + 9] == pytest.approx(10.0)  # 16:00: the shift is over


@pytest.mark.parametrize("value", [9.9, 8.6, 14.0])
def test_a_reading_within_the_usual_error_or_on_the_good_side_stands_for_its_hour(
    value: float,
) -> None:
    values = laid(AIR, read("air_temperature", value, "degC", before_h=-0.5))
    assert values[SEVEN] == pytest.approx(value)
    assert values[SEVEN + 1] == pytest.approx(10.0)
    assert USUAL_ERROR[AIR] == pytest.approx(3.0 * 5.0 / 9.0)


def test_heat_is_carried_as_cold_is() -> None:
    values = laid(AIR, read("air_temperature", 34.0, "degC", before_h=-0.5))
    assert values[SEVEN + 3] == pytest.approx(34.0)


def test_the_worst_of_several_spots_is_carried() -> None:
    what = [
        read("wind_speed_of_gust", 8.0, "m/s", before_h=-1.1, place="gate"),
        read("wind_speed_of_gust", 15.0, "m/s", before_h=-1.2, place="north wall"),
        read("wind_speed_of_gust", 4.0, "m/s", before_h=-2.5, place="gate"),
    ]
    values = laid(GUST, *what)
    assert values[SEVEN + 1 : SEVEN + 9] == pytest.approx(np.full(8, 15.0))


def test_a_later_reading_of_the_spot_takes_the_place_of_the_earlier() -> None:
    what = [
        read("wind_speed_of_gust", 15.0, "m/s", before_h=-1.1),
        read("wind_speed_of_gust", 4.0, "m/s", before_h=-4.5),
    ]
    values = laid(GUST, *what)
    assert values[SEVEN + 3] == pytest.approx(15.0)
    assert values[SEVEN + 5] == pytest.approx(3.5)


def test_a_meter_at_the_wall_raises_the_gust_and_never_lowers_it() -> None:
    assert laid(GUST, read("gust_at_wall", 12.0, "m/s", before_h=-0.5))[SEVEN + 2] == 12.0
    assert laid(GUST, read("gust_at_wall", 1.0, "m/s", before_h=-0.5))[SEVEN] == 3.5


def test_off_the_shift_a_difference_is_carried_through_the_night() -> None:
    evening = NOW + timedelta(hours=13)  # 20:00
    assert carried_until(MADE, evening) == NOW + timedelta(hours=24)
    assert carried_until(MADE, NOW - timedelta(hours=1)) == NOW + timedelta(hours=9)


def test_scenarios_are_laid_alike() -> None:
    table = mild().table
    many = {name: np.vstack([v, v + 1.0]) for name, v in table.columns.items()}
    found = weather_read(
        MADE, log(read("air_temperature", -3, "degC", before_h=-0.5)), NOW + timedelta(hours=1)
    )
    values = with_readings(type(table)(table.start, many), found).columns[AIR]
    assert values[:, SEVEN + 1] == pytest.approx([-3.0, -3.0])
