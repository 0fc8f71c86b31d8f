"""That work froze stands until the engineer releases it by name: no age, window or restart.

Fresh grout that freezes before it has about 500 psi keeps the damage (Powers 1962; ACI 306R).
"""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta

import numpy as np
import pytest

from scheduler.planning.model.frame import frame_of
from scheduler.planning.model.job import Calendar, Job, Link, Shift, Site, State, Task
from scheduler.planning.model.log import Entry, EntryKind, Progress, Reading, ToldFrozen
from scheduler.planning.strength.gate_weather import gate_weather
from scheduler.planning.strength.job_gates import JobGates, job_gates
from scheduler.planning.tables.hours import HourlyTable

FINISHED = datetime(2026, 11, 11, 20, tzinfo=UTC)
DAYS = (2, 13, 14, 15, 40)  # since the finish


def hours(start: datetime, air: np.ndarray) -> HourlyTable:
    first = np.datetime64(int(start.timestamp() // 3600), "h")
    at = first + np.arange(air.shape[-1]) * np.timedelta64(1, "h")
    return HourlyTable(at, {"air_temperature_c": air})


def job_of(*tasks: Task) -> Job:
    return Job(
        "north", Site("Heron Ferry", 44.3, -75.1, 125.0, "America/New_York"), "us", "tms602-2016",
        Calendar((Shift(time(7), time(16)),) * 7), tasks,
    )  # fmt: skip


def gates(days: float, *, seen_from_h: int = 0, frost_h: int = 6, **log: object) -> JobGates:
    """Follow grout whose air was −8 °C for a day from an hour after its finish on, then mild."""
    grout = Task("grout", "Grout", "place_grout", 5.0, state=State.DONE, finished_at=FINISHED)
    lower = Task("lower", "Lower", "lower_house", 7.0, after=(Link("grout"),))
    job = job_of(grout, lower)
    now = FINISHED + timedelta(days=days)
    since = np.arange(int(days * 24) + 400)
    air = np.where((since >= frost_h) & (since < frost_h + 24), -8.0, 8.0)
    past = hours(FINISHED, air)
    seen = HourlyTable(past.start[seen_from_h : int(days * 24)], {
        name: values[seen_from_h : int(days * 24)] for name, values in past.columns.items()
    })  # fmt: skip
    table = hours(now, air[None, int(days * 24) :])
    progress = Progress(**log)  # type: ignore[arg-type]
    frame = frame_of(job, progress, hour_zero=now, hours=400, now_hour=0)
    return job_gates(frame, weather=gate_weather(frame, table, seen), finish={})


def released(after: timedelta, task: str = "lower") -> tuple[Entry, ...]:
    at = FINISHED + after
    payload = {"role": "engineer"}
    return (Entry(1, at, at, EntryKind.RELEASE, task=task, who="A. Reyes", payload=payload),)


@pytest.mark.parametrize("days", DAYS)
def test_frozen_work_holds_whatever_its_age(days: int) -> None:
    assert gates(days).held == {"lower": "grout"}


@pytest.mark.parametrize("days", DAYS)
def test_the_engineer_releases_it_by_name(days: int) -> None:
    assert not gates(days, entries=released(timedelta(days=1.5))).held


def test_a_release_given_before_the_frost_does_not_count() -> None:
    assert gates(15, entries=released(timedelta(hours=2))).held == {"lower": "grout"}


def test_a_restart_without_the_old_record_does_not_forget_it() -> None:
    """Stations tell a few days back; what an answer said then was kept."""
    told = (ToldFrozen(FINISHED + timedelta(days=2), "grout"),)
    assert not gates(30, seen_from_h=600).held
    assert gates(30, seen_from_h=600, frozen=told).held == {"lower": "grout"}
    late = released(timedelta(days=3))
    assert not gates(30, seen_from_h=600, frozen=told, entries=late).held


def test_a_frost_that_is_only_forecast_asks_for_a_cover_and_is_no_verdict() -> None:
    found = gates(0.5, frost_h=18)
    assert not found.held
    assert found.done["grout"].threatened


@pytest.mark.parametrize(
    ("days", "read_c", "threatened"),
    [
        (1.0, 2.0, True),  # a day at 2 °C: 9 h at 20 °C of the 32 that one freeze takes
        (2.0, 2.0, True),
        (2.0, 18.0, False),  # two warm days: 500 psi are there
        (1.0, None, True),  # nobody read it: a day is too short however warm it was
        (4.0, None, False),  # what nobody read may have been warm; older work is left alone
    ],
)
def test_young_work_whose_first_hours_nobody_recorded_is_covered_before_a_frost(
    days: float, read_c: float | None, threatened: bool
) -> None:
    """EN 1992-1-1 3.1.2(6), s = 0.38: 3.5 of 13.8 MPa ask 31.6 h at 20 °C (ASTM C1074, 0 °C)."""
    every = range(4, int(days * 24), 8)
    entries = tuple(
        Entry(n, at, at, EntryKind.READING,
              reading=Reading("grout_temperature", read_c, "degC", "", at))
        for n, at in enumerate((FINISHED + timedelta(hours=h) for h in every), start=1)
        if read_c is not None
    )  # fmt: skip
    found = gates(
        days, seen_from_h=int(days * 24) - 1, frost_h=int(days * 24) + 6, entries=entries
    )
    assert found.done["grout"].threatened is threatened
    assert not found.held
    assert found.done["grout"].share < 0.1  # what nobody read is not credited to any gate


@pytest.mark.parametrize(("read_c", "held"), [(-2.0, {"sill": "grout"}), (4.0, {})])
def test_a_frost_that_was_read_counts_where_the_first_hours_are_not_known(
    read_c: float, held: dict[str, str]
) -> None:
    """Read within a day, in known hours: 500 psi take 31 h at 20 °C (class S, EN 1992-1-1)."""
    now = FINISHED + timedelta(hours=20)
    grout = Task("grout", "Grout", "place_grout", 5.0, state=State.DONE, finished_at=FINISHED)
    sill = Task("sill", "Sill", "set_sill", 4.0, after=(Link("grout"),))
    job = job_of(grout, sill)
    at = now - timedelta(hours=1)
    read = Entry(
        1, at, at, EntryKind.READING, reading=Reading("masonry_temperature", read_c, "degC", at=at)
    )
    seen = hours(now - timedelta(hours=5), np.full(5, -4.0))
    table = hours(now, np.full((1, 100), 5.0))
    frame = frame_of(job, Progress((read,)), hour_zero=now, hours=100, now_hour=0)
    found = job_gates(frame, weather=gate_weather(frame, table, seen), finish={})
    assert found.held == held
