"""First freezes by the end of a month, from monthly extremes of real stations.

A record of months cannot give a day, but it bounds one: the lowest value of September tells
whether the first freeze came by the 30th. Two uses: what was published of Minneapolis lies inside
those bounds, and the daily record of Boston says the same as the monthly one of the same station.
"""

from __future__ import annotations

import csv
from datetime import date

import numpy as np
import pytest

from scheduler.planning.forecast.weather_odds import first_day_odds
from tests.recorded_data import recorded
from tests.reference.test_first_freeze import autumns

ROUNDED_C = 0.06  # the monthly record has tenths of a degree
ENDS = {9: date(2025, 9, 30), 10: date(2025, 10, 31), 11: date(2025, 11, 30)}


def by_month_end(name: str, limit_f: float, first: int, last: int) -> dict[int, float]:
    """Return the share of years with a value at or under a limit by the end of each month."""
    path = recorded("obs", f"monthly-{name}-to-2022.csv")
    lows: dict[tuple[int, int], float] = {}
    with path.open(encoding="utf-8") as file:
        for row in list(csv.reader(file))[3:]:
            months = round(float(row[0]) * 12.0)  # a month is dated by its end
            year, month = divmod(months - 1, 12)
            if row[4]:
                lows[year, month + 1] = float(row[4])
    limit = (limit_f - 32.0) / 1.8 + ROUNDED_C
    years = [y for y in range(first, last + 1) if all((y, m) in lows for m in ENDS)]
    assert len(years) >= last - first
    return {
        month: float(
            np.mean([min(lows[y, m] for m in ENDS if m <= month) <= limit for y in years])
        )
        for month in ENDS
    }


@pytest.mark.parametrize(("first", "last"), [(1961, 1990), (1981, 2010), (1991, 2020)])
def test_minneapolis_freezes_when_it_was_published_to(first: int, last: int) -> None:
    """A Minneapolis broadcaster: mean first 32 °F 8 October; half have had 20 °F by 9 November."""
    frost = by_month_end("minneapolis", 32.0, first, last)
    assert frost[9] < 0.5 < 0.9 < frost[10]
    hard = by_month_end("minneapolis", 20.0, first, last)
    assert hard[10] < 0.5 < hard[11]


@pytest.mark.parametrize("limit_f", [32.0, 28.0, 24.0, 20.0])
def test_the_daily_and_the_monthly_record_of_boston_agree(limit_f: float) -> None:
    first, last = 1961, 2010
    monthly = by_month_end("boston", limit_f, first, last)
    lows = autumns("boston", first, last)
    _, odds = first_day_odds(lows, (limit_f - 32.0) / 1.8 + ROUNDED_C)
    for month, end in ENDS.items():
        daily = float(odds[(end - date(2025, 8, 1)).days])
        assert daily == pytest.approx(monthly[month], abs=0.021), month  # one year in fifty
