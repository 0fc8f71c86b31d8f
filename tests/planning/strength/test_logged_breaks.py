"""Breaks from the log: each at its own age, in one unit."""

from __future__ import annotations

import math
from datetime import UTC, datetime, time, timedelta

import numpy as np
import pytest

from rules.breaks import Calibrated, calibrate
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
from scheduler.planning.strength.job_gates import GateWeather, job_gates
from scheduler.planning.strength.logged_breaks import breaks_of, own_mixes
from scheduler.planning.tables.hours import HourlyTable

PLACED = datetime(2026, 11, 10, 15, tzinfo=UTC)


def broken(hours: float, psi: float, quantity: str = "grout_strength") -> Reading:
    return Reading(quantity, psi, "psi", at=PLACED + timedelta(hours=hours))


def test_specimens_of_the_laboratory_are_as_old_as_the_clock_says() -> None:
    found = breaks_of([broken(24, 600.0), broken(72, 1200.0)], placed=PLACED)
    assert [one.age_h for one in found] == [24.0, 72.0]
    assert found[0].strength_mpa == pytest.approx(4.137, abs=0.001)


def test_specimens_on_site_are_as_old_as_their_temperature_made_them() -> None:
    slow = np.arange(200.0) / 2.0
    (one,) = breaks_of([broken(49, 900.0)], placed=PLACED, age_h=slow)
    assert one.age_h == 24.5


def test_what_is_no_break_of_this_batch_is_left_out() -> None:
    ages = np.arange(50.0)
    readings = [
        broken(-5, 900.0),
        broken(80, 900.0),
        broken(24, 47.0, "grout_temperature"),
        Reading("grout_strength", 900.0, "psi"),
    ]
    assert breaks_of(readings, placed=PLACED, age_h=ages) == []
    assert breaks_of([broken(5, 900.0)], placed=PLACED, age_h=np.full(9, np.nan)) == []


def test_six_logged_breaks_make_a_curve() -> None:
    told = [broken(h, psi) for h, psi in
            ((24, 520), (24, 560), (72, 1150), (72, 1230), (168, 1650), (168, 1720))]  # fmt: skip
    found = calibrate(breaks_of(told, placed=PLACED), specified_mpa=13.79)
    assert isinstance(found, Calibrated)
    assert 0.2 < found.s < 0.5


ZERO = PLACED + timedelta(hours=148)


def _gate(psi_of_28_days: float | None) -> tuple[int, tuple[str, ...]]:
    """Return when a house may be lowered on the grout, with breaks of this mix in the log."""
    grout = Task("grout", "Grout", "place_grout", 5.0, state=State.DONE, finished_at=PLACED)
    gate = StrengthGate(share=0.7, wait_h=72.0, purpose="lower_house")
    lower = Task("lower", "Lower", "lower_house", 7.0, after=(Link("grout", gate=gate),))
    site = Site("Heron Ferry", 44.3, -75.1, 125.0, "America/New_York")
    week = Calendar((Shift(time(7), time(16)),) * 7)
    job = Job("north", site, "us", "tms602-2016", week, (grout, lower))
    readings = []
    if psi_of_28_days is not None:
        readings = [
            broken(age, psi_of_28_days * math.exp(0.25 * (1 - math.sqrt(672 / age))) * scatter)
            for age in (24.0, 72.0, 144.0)
            for scatter in (0.99, 1.01)
        ]
    entries = [
        Entry(n, r.at, r.at, EntryKind.READING, reading=r)
        for n, r in enumerate(readings)
        if r.at is not None
    ]
    frame = frame_of(job, Progress(tuple(entries)), hour_zero=ZERO, hours=900, now_hour=0)
    start = np.datetime64(int(ZERO.timestamp() // 3600) - 148, "h")
    hours = np.arange(148 + 900)
    columns = {
        "air_temperature_c": np.full((2, hours.size), 8.0),
        "wind_speed_ms": np.full((2, hours.size), 3.0),
    }
    whole = {name: values[:, 148:] for name, values in columns.items()}
    past = {name: values[0, :148] for name, values in columns.items()}
    weather = GateWeather(
        HourlyTable(start + hours[148:] * np.timedelta64(1, "h"), whole),
        HourlyTable(start + hours[:148] * np.timedelta64(1, "h"), past),
    )
    mixes = own_mixes(frame)
    found = job_gates(frame, weather=weather, finish={}, works=mixes.works)
    return int(found.ready["lower", "grout"]), mixes.notes


def test_breaks_of_the_own_mix_open_a_gate_earlier_or_later_than_the_book_curve() -> None:
    book, silent = _gate(None)
    strong, said = _gate(3600.0)
    weak, _ = _gate(1500.0)
    assert silent == ()
    assert strong < book < weak
    assert "6 breaks of this mix" in said[0]


def test_breaks_that_cannot_be_true_change_nothing_and_are_told() -> None:
    book, _ = _gate(None)
    wrong, said = _gate(50000.0)
    assert wrong == book
    assert "not used" in said[0]
