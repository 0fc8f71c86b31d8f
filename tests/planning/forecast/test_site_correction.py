"""The site's thermometer against the forecast: shrunk with few readings, found with many."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.forecast.site_correction import (
    at_site,
    corrected,
    learned,
    site_correction,
)
from scheduler.planning.model.log import Reading
from scheduler.planning.tables.hours import Forecast, HourlyTable, Provenance

START = datetime(2026, 11, 1, tzinfo=UTC)


def hollow(solar: np.ndarray) -> np.ndarray:
    """A hollow: 2.5 °C colder at dawn, 0.5 °C warmer in the afternoon."""
    return -1.0 + 1.5 * np.cos(2 * np.pi * (solar - 17.0) / 24.0)


def test_no_reading_changes_nothing() -> None:
    none = learned(difference_c=np.empty(0), solar_hour=np.empty(0), block=np.empty(0, np.int64))
    assert none.at(np.arange(24.0)).tolist() == [0.0] * 24


def test_one_reading_moves_the_forecast_by_a_part_of_it() -> None:
    """By hand: a level of 1.5² against an error of 2²; with both waves at hour 0, 1.5² + 1²."""
    one = learned(difference_c=np.array([-3.0]), solar_hour=np.array([0.0]), block=np.array([0]))
    assert one.at(np.array([0.0]))[0] == pytest.approx(-3.0 * 3.25 / (3.25 + 4.0))


def test_twelve_readings_of_one_morning_are_one() -> None:
    dozen = learned(
        difference_c=np.full(12, -3.0), solar_hour=np.full(12, 0.0), block=np.zeros(12, np.int64)
    )
    assert dozen.at(np.array([0.0]))[0] == pytest.approx(-3.0 * 3.25 / (3.25 + 4.0))
    assert (dozen.readings, dozen.blocks) == (12, 1)


def test_a_season_of_readings_finds_the_hollow() -> None:
    rng = np.random.default_rng(3)
    hour = np.arange(0.0, 24 * 90, 3.0)
    noisy = hollow(hour % 24) + rng.normal(0, 2.0, hour.size)
    found = learned(difference_c=noisy, solar_hour=hour % 24, block=(hour // 6).astype(np.int64))
    clock = np.arange(24.0)
    assert np.abs(found.at(clock) - hollow(clock)).max() < 0.5


@given(difference=st.floats(-8, 8), hour=st.floats(0, 24), count=st.integers(1, 30))
def test_the_correction_never_passes_what_was_read(
    difference: float, hour: float, count: int
) -> None:
    found = learned(
        difference_c=np.full(count, difference),
        solar_hour=np.full(count, hour),
        block=np.arange(count),
    )
    there = found.at(np.array([hour]))[0]
    assert abs(there) <= abs(difference) + 1e-9
    assert there * difference >= 0.0


def forecast(issued: datetime, level: float) -> Forecast:
    start = np.datetime64(int(issued.timestamp() // 3600), "h") + np.arange(48)
    table = HourlyTable(start=start, columns={"air_temperature_c": np.full(48, level)})
    return Forecast(table, Provenance("made", issued, issued))


def test_readings_are_held_against_the_last_forecast_before_them() -> None:
    told = [forecast(START, 5.0), forecast(START + timedelta(hours=12), 9.0)]
    readings = [
        Reading("air_temperature", 41.0, "degF", at=START + timedelta(hours=6)),  # 5 °C: as told
        Reading("air_temperature", 41.0, "degF", at=START + timedelta(hours=18)),  # 4 K under
        Reading("wood_moisture", 20.0, "%", at=START + timedelta(hours=18)),
        Reading("air_temperature", 41.0, "degF", at=START - timedelta(hours=1)),  # none yet
    ]
    found = site_correction(readings, told, longitude_deg=0.0)
    assert (found.readings, found.blocks) == (2, 2)
    assert found.at(np.array([18.0]))[0] < -1.0
    moved = corrected(told[1].table, found, longitude_deg=0.0)
    assert moved.columns["air_temperature_c"][6] == pytest.approx(
        9.0 + found.at(np.array([18.0]))[0]
    )
    assert "stretches of 6 h" in found.words()


def forecast_of(level: float, *, days: int = 12) -> Forecast:
    hours = np.datetime64(int(START.timestamp() // 3600), "h") + np.arange(24 * days)
    table = HourlyTable(hours, {"air_temperature_c": np.full(24 * days, level)})
    return Forecast(table, Provenance("nws", START, START))


def readings(count: int, difference: float) -> list[Reading]:
    return [
        Reading("air_temperature", 5.0 + difference, "degC", at=START + timedelta(hours=6 * n + 1))
        for n in range(count)
    ]


@pytest.mark.parametrize(
    ("count", "difference", "sign"),
    [(3, -4.0, 0), (4, -4.0, -1), (4, 4.0, 0), (11, 4.0, 0), (12, 4.0, 1), (12, -4.0, -1)],
)
def test_few_readings_change_nothing_and_warming_wants_three_times_as_many(
    count: int, difference: float, sign: int
) -> None:
    told = forecast_of(5.0)
    moved = at_site(told, readings(count, difference), [told], longitude_deg=-75.0)
    change = moved.table.column("air_temperature_c") - 5.0
    assert (np.sign(np.round(change, 9)) == sign).all()
    assert np.abs(change).max() < 4.0  # never more than was read
    noted = [finding.what for finding in moved.provenance.findings]
    assert bool(noted) is (count >= 4)


def test_members_move_with_the_line_and_other_extras_stay() -> None:
    told = forecast_of(5.0)
    members = HourlyTable(told.table.start, {"air_temperature_c": np.full((3, 288), 5.0)})
    rich = Forecast(told.table, told.provenance, extras={"members": members, "status": "ok"})
    moved = at_site(rich, readings(8, -4.0), [told], longitude_deg=-75.0)
    inside = moved.extras["members"]
    assert isinstance(inside, HourlyTable)
    assert (inside.column("air_temperature_c") < 5.0).all()
    assert moved.extras["status"] == "ok"
