"""Finished work is judged by what was observed and read in it; nothing else is credited."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta

import numpy as np

from scheduler.planning.model.frame import frame_of
from scheduler.planning.model.job import (
    Calendar,
    Job,
    Link,
    Shift,
    Site,
    State,
    StrengthGate,
    Task,
)
from scheduler.planning.model.log import Entry, EntryKind, Progress, Reading
from scheduler.planning.strength.gate_weather import gate_weather
from scheduler.planning.strength.job_gates import job_gates
from scheduler.planning.tables.finish import NEVER
from scheduler.planning.tables.hours import HourlyTable

ZERO = datetime(2026, 11, 10, 5, tzinfo=UTC)
FINISHED = ZERO - timedelta(hours=48)


def _table(start: datetime, hours: int, *shape: int) -> HourlyTable:
    first = np.datetime64(int(start.timestamp() // 3600), "h")
    full = (*shape, hours)
    return HourlyTable(
        first + np.arange(hours) * np.timedelta64(1, "h"),
        {"air_temperature_c": np.full(full, 9.0), "wind_speed_ms": np.full(full, 2.0)},
    )


def _ready(
    *, observed: HourlyTable | None = None, read_c: float | None = None, place: str = "north"
) -> int:
    """Return the hour in which the house may be lowered on grout of two days ago."""
    grout = Task(
        "grout", "Grout", "place_grout", 5.0, state=State.DONE, finished_at=FINISHED, place="north"
    )
    gate = StrengthGate(share=0.6, wait_h=24.0, purpose="other")
    lower = Task("lower", "Lower", "lower_house", 7.0, after=(Link("grout", gate=gate),))
    site = Site("Heron Ferry", 44.3, -75.1, 125.0, "America/New_York")
    job = Job(
        "north", site, "us", "tms602-2016", Calendar((Shift(time(7), time(16)),) * 7),
        (grout, lower),
    )  # fmt: skip
    entries = []
    if read_c is not None:
        for hour in range(48):
            at = FINISHED + timedelta(hours=hour)
            reading = Reading("grout_temperature", read_c, "degC", place=place, at=at)
            entries.append(Entry(hour, at, at, EntryKind.READING, reading=reading))
    frame = frame_of(job, Progress(tuple(entries)), hour_zero=ZERO, hours=900, now_hour=0)
    weather = gate_weather(frame, _table(ZERO, 900, 3), observed)
    return int(job_gates(frame, weather=weather, finish={}).ready["lower", "grout"])


def test_what_was_observed_counts_and_what_nobody_saw_does_not() -> None:
    seen = _ready(observed=_table(FINISHED - timedelta(hours=2), 50))
    part = _ready(observed=_table(FINISHED - timedelta(hours=2), 30))
    assert seen < part <= _ready()


def test_a_logger_colder_than_the_model_delays_the_lowering() -> None:
    observed = _table(FINISHED - timedelta(hours=2), 50)
    modelled = _ready(observed=observed)
    assert _ready(observed=observed, read_c=3.0) > modelled
    assert _ready(observed=observed, read_c=22.0) < modelled


def test_a_reading_at_another_place_says_nothing() -> None:
    observed = _table(FINISHED - timedelta(hours=2), 50)
    assert _ready(observed=observed, read_c=3.0, place="south") == _ready(observed=observed)


def test_without_observed_weather_the_gate_opens_by_what_is_gained_from_now_on() -> None:
    assert _ready() < NEVER
    gap = _table(FINISHED - timedelta(hours=2), 50)
    gap.columns["air_temperature_c"][20] = np.nan
    assert _ready(observed=_table(FINISHED - timedelta(hours=2), 50)) < _ready(observed=gap)
    assert _ready(observed=gap) < _ready()
