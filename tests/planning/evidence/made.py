"""Jobs, logs and hours that the tests of evidence are made of."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta

import numpy as np

from rules.book import load_book
from scheduler.planning.evidence.facts import Evidence, evidence
from scheduler.planning.model.job import Calendar, Job, Shift, Site, Task
from scheduler.planning.model.log import Entry, EntryKind, Fact, Progress, Reading
from scheduler.planning.model.standing import standings
from scheduler.planning.tables.hours import Forecast, HourlyTable, Provenance

NOW = datetime(2026, 11, 9, 12, tzinfo=UTC)  # 07:00 at the site
BOOK = load_book()
MILD = {
    "air_temperature_c": 10.0,
    "dew_point_temperature_c": 3.0,
    "relative_humidity_pct": 60.0,
    "wind_speed_ms": 2.0,
    "wind_speed_of_gust_ms": 3.5,
    "precipitation_amount_mm": 0.0,
    "precipitation_probability_pct": 0.0,
    "cloud_area_fraction_pct": 40.0,
    "thunderstorm_probability_pct": 0.0,
}


def job(*tasks: Task) -> Job:
    return Job(
        name="made",
        site=Site("made", 44.0, -75.0, 100.0, "America/New_York"),
        units="us",
        book=BOOK.edition,
        calendar=Calendar(week=(Shift(time(7), time(16)),) * 7),
        tasks=tasks,
    )


def told(seq: int, at: datetime, what: Reading | Fact) -> Entry:
    if isinstance(what, Reading):
        return Entry(seq, at, at, EntryKind.READING, reading=what)
    return Entry(seq, at, at, EntryKind.FACT, fact=what)


def log(*what: Reading | Fact, at: datetime = NOW) -> tuple[Entry, ...]:
    return tuple(told(n + 1, w.at or at, w) for n, w in enumerate(what))


def read(
    quantity: str, value: float, unit: str, *, before_h: float = 0.0, place: str = ""
) -> Reading:
    return Reading(quantity, value, unit, place, NOW - timedelta(hours=before_h))


def known_of(made: Job, entries: tuple[Entry, ...], now: datetime = NOW) -> Evidence:
    return evidence(made, entries, standings(made, Progress(entries), now=now), now)


def mild(hours: int = 96, before_h: int = 12, **columns: float) -> Forecast:
    start = int((NOW - timedelta(hours=before_h)).timestamp() // 3600)
    table = HourlyTable(
        (start + np.arange(hours)).astype("datetime64[h]"),
        {name: np.full(hours, value) for name, value in (MILD | columns).items()},
    )
    issued = NOW - timedelta(hours=2)
    return Forecast(table, Provenance("made", issued, issued))
