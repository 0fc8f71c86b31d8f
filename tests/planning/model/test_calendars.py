"""Shifts in local time as hours in UTC, across clock changes."""

from __future__ import annotations

from datetime import UTC, date, datetime, time

import numpy as np

from scheduler.planning.model.calendars import (
    days_mask,
    local_day_numbers,
    shift_mask,
    with_overtime,
    with_saturday,
)
from scheduler.planning.model.job import Calendar, Shift

DAY = Shift(time(7), time(16))
WEEK = Calendar(week=(DAY,) * 5 + (None, None))
NEW_YORK = "America/New_York"


def hours_of(calendar: Calendar, zero: datetime, hours: int, zone: str = NEW_YORK) -> list[int]:
    return np.flatnonzero(shift_mask(calendar, zone, hour_zero=zero, hours=hours)).tolist()


def test_a_shift_moves_in_utc_when_the_clocks_change() -> None:
    # US clocks go back on 1 November 2026: Friday is UTC-4, Monday UTC-5
    zero = datetime(2026, 10, 30, tzinfo=UTC)
    worked = hours_of(WEEK, zero, 96)
    assert worked == [*range(11, 20), *range(72 + 12, 72 + 21)]


def test_night_shifts_have_the_hours_that_pass() -> None:
    night = Shift(time(22), time(6))
    zero = datetime(2026, 3, 7, tzinfo=UTC)
    calendar = Calendar(week=(None,) * 5 + (night, None))
    assert len(hours_of(calendar, zero, 60)) == 7  # spring: 22 to 6 lacks an hour
    zero = datetime(2026, 10, 31, tzinfo=UTC)
    assert len(hours_of(calendar, zero, 60)) == 9  # autumn: one more


def test_an_hour_counts_only_if_all_of_it_is_in_the_shift() -> None:
    zero = datetime(2026, 11, 9, tzinfo=UTC)
    half = Calendar(week=(Shift(time(7, 30), time(15, 30)),) * 7)
    assert hours_of(half, zero, 24, "UTC") == list(range(8, 15))
    # a zone of half hours: 07:00 is 01:30 UTC
    assert hours_of(Calendar(week=(DAY,) * 7), zero, 24, "Asia/Kolkata") == list(range(2, 10))


def test_days_off_and_days_by_exception() -> None:
    zero = datetime(2026, 11, 9, tzinfo=UTC)  # a Monday
    calendar = Calendar(
        week=WEEK.week,
        days_off=frozenset({date(2026, 11, 10), date(2026, 11, 11)}),
        exceptions={
            date(2026, 11, 11): Shift(time(7), time(12)),
            date(2026, 11, 12): None,
            date(2026, 11, 14): DAY,
        },
    )
    worked = hours_of(calendar, zero, 7 * 24, "UTC")
    days = {day: sum(h // 24 == day for h in worked) for day in range(7)}
    assert days == {0: 9, 1: 0, 2: 5, 3: 0, 4: 9, 5: 9, 6: 0}


def test_saturday_and_overtime_add_hours() -> None:
    zero = datetime(2026, 11, 9, tzinfo=UTC)
    more = with_overtime(with_saturday(WEEK, Shift(time(7), time(12))), 2)
    worked = hours_of(more, zero, 7 * 24, "UTC")
    assert [sum(h // 24 == day for h in worked) for day in range(7)] == [11] * 5 + [7, 0]


def test_hours_know_their_local_day() -> None:
    zero = datetime(2026, 11, 9, 15, tzinfo=UTC)  # 10:00 in New York
    days = local_day_numbers(NEW_YORK, hour_zero=zero, hours=48)
    assert days.tolist() == [0] * 14 + [1] * 24 + [2] * 11
    mask = days_mask([date(2026, 11, 10)], NEW_YORK, hour_zero=zero, hours=48)
    assert np.flatnonzero(mask).tolist() == list(range(14, 38))
