"""Odds counted by hand on small tables."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np
import pytest

from rules.exposure import NEVER
from scheduler.planning.forecast.weather_odds import (
    Days,
    day_of_share,
    dry_run_odds,
    first_day_odds,
    window_chance,
    workable_left,
)
from scheduler.planning.tables.hours import HourlyTable

ZERO = datetime(2026, 10, 30, 16, tzinfo=UTC)  # noon in New York


def test_days_follow_the_local_clock_through_its_change() -> None:
    days = Days.of("America/New_York", hour_zero=ZERO, hours=24 * 4)
    assert days.days == tuple(date(2026, 10, 30) .replace(day=d) for d in (30, 31)) + tuple(
        date(2026, 11, d) for d in (1, 2, 3)
    )  # fmt: skip
    assert days.edges.tolist() == [0, 12, 36, 61, 85]  # 1 November has 25 hours
    assert days.sums(np.ones((2, 96))).tolist() == [[12, 24, 25, 24, 11]] * 2
    assert days.lows(np.arange(96.0)).tolist() == [0, 12, 36, 61, 85]


def test_first_freeze_counts_years_and_leaves_out_those_with_holes() -> None:
    lows = np.array([[5, 0, 3], [5, 5, -2], [5, 4, 3], [np.nan, -9, 3], [-1, np.nan, 3]])
    first, odds = first_day_odds(lows, 0.0)
    assert first.tolist() == [1, 2, NEVER, 0]
    assert odds.tolist() == [0.25, 0.5, 0.75]


def test_day_of_share_by_plotting_positions() -> None:
    first = np.arange(10, 19)  # nine years: 10, 50 and 90 % are the first, fifth and ninth
    assert [day_of_share(first, p) for p in (10, 50, 90)] == [10.0, 14.0, 18.0]
    assert day_of_share(first, 15) == pytest.approx(10.5)
    assert day_of_share(first, 5) == float("-inf")
    assert day_of_share(np.array([3, 4, NEVER]), 75) == float("inf")


def test_dry_days_on_end() -> None:
    wet = np.zeros((4, 24 * 5))
    wet[0, 30] = 1.0  # second day
    wet[1, 24 * 4 + 1] = 1.0  # last day
    wet[2, :] = 1.0
    wet[3, 50] = np.nan  # third day not known
    table = HourlyTable(
        start=np.datetime64("2026-06-01T00", "h") + np.arange(120),
        columns={"precipitation_amount_mm": wet},
    )
    days = Days.of("UTC", hour_zero=datetime(2026, 6, 1, tzinfo=UTC), hours=120)
    begins, ended = dry_run_odds(table, days, 2)
    assert begins.tolist() == [0.5, 0.25, 0.5, 0.5, 0.0]
    assert ended.tolist() == [0.0, 0.5, 0.5, 0.75, 0.75]


def test_window_and_hours_left() -> None:
    fit = np.ones((10, 48), dtype=bool)
    fit[:3, 20] = False
    assert window_chance(fit, 18, 4) == 0.7
    assert window_chance(fit, 21, 4) == 1.0
    assert window_chance(fit, 46, 4) == 0.0
    days = Days.of("UTC", hour_zero=datetime(2026, 6, 1, tzinfo=UTC), hours=48)
    left = workable_left(fit, days)
    assert left[10].tolist() == [47, 24]
    assert left[50].tolist() == [48, 24]
