"""The lower order statistic, the joint chance, and what is refused."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rules.exposure import NEVER
from scheduler.planning.forecast.climate_years import ClimateYears
from scheduler.planning.forecast.scenarios import Scenarios, scenarios
from scheduler.planning.model.job import Calendar, ExposureLimits, Job, Site
from scheduler.planning.open_house.closein_date import (
    Ends,
    closein_date,
    joint_chance,
    latest_safe,
    years_needed,
)
from scheduler.planning.tables.hours import HourlyTable

NOW = datetime(2026, 11, 2, 12, tzinfo=UTC)
HOURS = 24 * 60
BREACHES = arrays(np.int64, 40, elements=st.integers(0, 500))


def job(**limits: float) -> Job:
    return Job(
        name="t",
        site=Site("t", 44.0, -75.0, 100.0, "America/New_York"),
        units="us",
        book="tms602-2016",
        calendar=Calendar(week=(None,) * 7),
        tasks=(),
        exposure=ExposureLimits(**{"time_constant_h": 10.0, **limits}),  # type: ignore[arg-type]
    )


def climate(years: int, *, colder: float = 0.0, first_freeze_day: int = 20) -> ClimateYears:
    """Years that turn hard cold on different days, the earliest ``first_freeze_day`` days on."""
    hour = np.arange(HOURS)
    air = np.full((years, HOURS), 8.0) + 3.0 * np.sin(2 * np.pi * (hour - 14) / 24)
    for row in range(years):
        air[row, 24 * (first_freeze_day + row) :] -= 25.0
    return ClimateYears(
        NOW, tuple(range(2000, 2000 + years)), {"air_temperature_c": air - colder}, "made"
    )


def forecast(hours: int = 168, level: float = 13.0) -> HourlyTable:
    start = np.datetime64("2026-11-02T12", "h") + np.arange(hours)
    return HourlyTable(start=start, columns={"air_temperature_c": np.full(hours, level)})


def weather(years: ClimateYears | None, count: int = 120, **kwargs: float) -> Scenarios:
    return scenarios(
        forecast=forecast(**kwargs),  # type: ignore[arg-type]
        climate=years,
        now=NOW,
        until=NOW + timedelta(hours=HOURS),
        seed=1,
        count=count,
        longitude_deg=-75.0,
    )


@pytest.mark.parametrize(("confidence", "years"), [(0.9, 9), (0.95, 19), (0.8, 9), (0.5, 9)])
def test_years_needed_is_the_first_order_statistic_and_nine_at_the_least(
    confidence: float, years: int
) -> None:
    assert years_needed(confidence) == years


def test_the_lower_order_statistic_of_nineteen_years() -> None:
    passed = np.arange(100, 119)  # ranks 1..19; 0.9 allows k/(20) <= 0.1, so the second
    last, ends = latest_safe(passed, 500, confidence=0.9, climate_from=0, years=19)
    assert (last, ends) == (101, Ends.LIMIT)


def test_repeating_years_in_more_scenarios_changes_nothing() -> None:
    passed = np.repeat(np.arange(100, 119), 30)
    last, _ = latest_safe(passed, 500, confidence=0.9, climate_from=0, years=19)
    assert last == 101


def test_too_few_years_give_no_date() -> None:
    passed = np.repeat(np.arange(100, 108), 30)
    assert latest_safe(passed, 500, confidence=0.9, climate_from=50, years=8) == (
        50,
        Ends.TOO_FEW_YEARS,
    )


def test_no_breach_is_not_before_the_seasons_end() -> None:
    passed = np.full(20, NEVER)
    assert latest_safe(passed, 500, confidence=0.9, climate_from=0, years=20) == (
        500,
        Ends.SEASON_END,
    )


@given(passed=BREACHES, low=st.floats(0.05, 0.97), more=st.floats(0, 0.02))
def test_more_confidence_is_never_a_later_date(
    passed: np.ndarray, low: float, more: float
) -> None:
    def at(confidence: float) -> int:
        return latest_safe(passed, 400, confidence=confidence, climate_from=100, years=40)[0]

    assert at(low + more) <= at(low)


@given(passed=BREACHES, earlier=arrays(np.int64, 40, elements=st.integers(0, 100)))
def test_earlier_breaches_are_never_a_later_date(passed: np.ndarray, earlier: np.ndarray) -> None:
    def at(hours: np.ndarray) -> int:
        return latest_safe(hours, 400, confidence=0.9, climate_from=100, years=40)[0]

    assert at(np.maximum(passed - earlier, 0)) <= at(passed)


@given(passed=BREACHES, closed=BREACHES, earlier=arrays(np.int64, 40, elements=st.integers(0, 9)))
def test_closing_earlier_never_lowers_the_chance(
    passed: np.ndarray, closed: np.ndarray, earlier: np.ndarray
) -> None:
    assert joint_chance(passed, closed - earlier) >= joint_chance(passed, closed)


def test_the_chance_is_joint_scenario_by_scenario() -> None:
    passed = np.array([10, 20, NEVER, NEVER])
    closed = np.array([20, 10, 400, NEVER])
    assert joint_chance(passed, closed) == 0.5


def test_a_date_is_the_day_before_the_breach_in_local_days() -> None:
    answer = closein_date(job=job(), weather=weather(climate(21)), planned=NOW + timedelta(days=5))
    # the second of 21 years turns cold 21 days on, at 12 UTC (07:00 local) on 23 November
    assert answer.overall.ends is Ends.LIMIT
    assert answer.latest_safe == date(2026, 11, 22)
    assert answer.binding == "indoor_air"
    assert answer.margin_days == 15
    assert answer.chance == 1.0
    assert answer.years == 21


def test_no_climate_is_not_known_past_the_forecast() -> None:
    answer = closein_date(job=job(), weather=weather(None))
    assert answer.overall.ends is Ends.NOT_KNOWN
    assert answer.latest_safe is None
    assert answer.overall.known_safe_until <= date(2026, 11, 9)
    assert any("no past years" in note for note in answer.notes)


def test_eight_years_cannot_support_ninety_percent() -> None:
    answer = closein_date(job=job(), weather=weather(climate(8)))
    assert answer.overall.ends is Ends.TOO_FEW_YEARS
    assert answer.latest_safe is None
    assert any("cannot support" in note for note in answer.notes)


def test_hanging_lines_bind_before_the_indoor_air() -> None:
    cold_night = forecast(level=4.0)
    cold_night.columns["air_temperature_c"][30:33] = -6.0
    scene = scenarios(
        forecast=cold_night, climate=climate(19), now=NOW,
        until=NOW + timedelta(hours=HOURS), seed=1, count=120, longitude_deg=-75.0,
    )  # fmt: skip
    dry = closein_date(job=job(time_constant_h=40.0), weather=scene)
    wet = closein_date(job=job(time_constant_h=40.0, water_lines_hang=True), weather=scene)
    assert wet.binding == "water_lines"
    assert wet.latest_safe is not None
    assert dry.latest_safe is not None
    assert wet.latest_safe < dry.latest_safe


@given(colder=st.floats(0, 15))
def test_colder_years_are_never_a_later_date(colder: float) -> None:
    def hour(by: float) -> datetime:
        answer = closein_date(job=job(), weather=weather(climate(19, colder=by), count=38))
        return answer.overall.passes_at or NOW + timedelta(hours=HOURS)

    assert hour(colder) <= hour(0.0)


def test_a_gap_in_the_forecast_is_never_safe() -> None:
    gappy = forecast()
    gappy.columns["air_temperature_c"][20:30] = np.nan
    scene = scenarios(
        forecast=gappy, climate=climate(19), now=NOW,
        until=NOW + timedelta(hours=HOURS), seed=1, count=60, longitude_deg=-75.0,
    )  # fmt: skip
    answer = closein_date(job=job(), weather=scene, planned=NOW + timedelta(days=20))
    assert answer.overall.ends is Ends.NOT_KNOWN
    assert answer.latest_safe is None
    assert answer.chance is None  # not known, neither certain nor hopeless


@given(heat=st.floats(0, 8000), more=st.floats(0, 8000))
def test_more_heat_is_never_an_earlier_date_nor_a_lower_chance(heat: float, more: float) -> None:
    scene = weather(climate(19), count=38)
    planned = NOW + timedelta(days=30)

    def found(watts: float) -> tuple[datetime, float]:
        answer = closein_date(
            job=job(heat_w=watts, heat_w_per_k=400.0), weather=scene, planned=planned
        )
        return answer.overall.passes_at or NOW + timedelta(hours=HOURS), answer.chance or 0.0

    cold, warm = found(heat), found(heat + more)
    assert warm[0] >= cold[0]
    assert warm[1] >= cold[1]


@given(days=st.integers(0, 50), sooner=st.integers(0, 50), hanging=st.booleans())
def test_a_house_closed_sooner_never_has_a_lower_chance(
    days: int, sooner: int, hanging: bool
) -> None:
    scene = weather(climate(19), count=38)

    def chance(after: int) -> float:
        planned = NOW + timedelta(days=max(after, 0))
        found = closein_date(job=job(water_lines_hang=hanging), weather=scene, planned=planned)
        return found.chance or 0.0

    assert chance(days - sooner) >= chance(days)
