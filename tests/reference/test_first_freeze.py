"""First freezes of a real station record against what was published of the same station.

The public normals at hand (Albany 1991-2020 and towns of Minnesota, Vermont and Maine) are of
other stations than the records at hand, so none of them can be held against a record. Boston is;
its published dates here are of longer or older periods than the record, and each row says so.
"""

from __future__ import annotations

import csv
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from rules.exposure import NEVER
from scheduler.planning.forecast.weather_odds import day_of_share, first_day_odds
from scheduler.weather.climate import parse_record
from scheduler.weather.records import LOW, DailyRecord
from tests.recorded_data import recorded

FILES = {"boston": "daily-boston-usw00014739-1936-2019-tmax-tmin.csv"}
with (Path(__file__).parent / "first_freeze.csv").open(encoding="utf-8") as file:
    ROWS = list(csv.DictReader(file))
AUTUMN_DAYS = 180


def autumns(station: str, first: int, last: int) -> np.ndarray:
    """Return daily lows from 1 August on, a row a year."""
    path = recorded("obs", FILES[station])
    record = parse_record(path.read_bytes(), path.name)
    assert isinstance(record, DailyRecord)
    starts = [np.datetime64(f"{year}-08-01") for year in range(first, last + 1)]
    places = [int((start - record.day[0]).astype(int)) for start in starts]
    return np.stack([record.columns[LOW][at : at + AUTUMN_DAYS] for at in places])


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['station']} {row['what']}")
def test_first_freeze_is_the_published_one(row: dict[str, str]) -> None:
    lows = autumns(row["station"], int(row["first_year"]), int(row["last_year"]))
    first, odds = first_day_odds(lows, (float(row["limit_f"]) - 32.0) / 1.8 + 1e-6)
    assert first.size >= len(lows) - 2
    month, day = (int(part) for part in row["expected"].split("-"))
    want = (date(2025, month, day) - date(2025, 8, 1)).days
    match row["what"]:
        case "latest":
            got = int(first[first < NEVER].max())
        case "average":
            got = float(first[first < NEVER].mean())
        case "none_before":
            assert odds[want - 1] == 0.0
            return
    assert got == pytest.approx(want, abs=float(row["tolerance_days"]))


def test_the_published_latest_freeze_is_in_its_year() -> None:
    lows = autumns("boston", 1975, 1975)
    first, _ = first_day_odds(lows, 1e-6)
    assert date(1975, 8, 1) + timedelta(days=int(first[0])) == date(1975, 12, 2)


def test_quantiles_are_in_order_and_inside_the_record() -> None:
    first, _ = first_day_odds(autumns("boston", 1991, 2018), 1e-6)
    days = [day_of_share(first, percent) for percent in (10, 50, 90)]
    assert days == sorted(days)
    assert first.min() <= days[0]
    assert days[2] <= first.max()
