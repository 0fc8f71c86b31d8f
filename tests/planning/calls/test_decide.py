"""What is decided about a task: the call, its measures on the clock, never a go on old data."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import numpy as np
import pytest

from rules.book import load_book
from scheduler.planning.calls.decide import decide
from scheduler.planning.model.answer import Call, Outcome, TaskAnswer
from scheduler.planning.model.job import Calendar, Job, Shift, Site, Task
from scheduler.planning.model.log import Entry, EntryKind, Progress, Reading
from scheduler.planning.tables.hours import Forecast, HourlyTable, Provenance

NOW = datetime(2026, 11, 9, 13, tzinfo=UTC)  # 08:00 at the site
BOOK = load_book()


def table(air_f: float | list[float], hours: int = 60, **more: float) -> HourlyTable:
    air = np.full(hours, np.nan)
    air[:] = air_f if isinstance(air_f, float) else np.resize(air_f, hours)
    columns = {
        "air_temperature_c": (air - 32.0) / 1.8,
        "wind_speed_ms": np.full(hours, more.get("wind", 2.0)),
        "wind_speed_of_gust_ms": np.full(hours, more.get("gust", 3.0)),
        "precipitation_amount_mm": np.full(hours, more.get("rain", 0.0)),
        "precipitation_probability_pct": np.full(hours, more.get("chance", 0.0)),
        "relative_humidity_pct": np.full(hours, 65.0),
    }
    start = np.datetime64("2026-11-09T13", "h") + np.arange(hours)
    return HourlyTable(start=start, columns=columns)


def forecast(air_f: float | list[float], age_h: float = 1.0, **more: float) -> Forecast:
    issued = NOW - timedelta(hours=age_h)
    source = Provenance(source="grid", issued_at=issued, fetched_at=issued)
    return Forecast(table(air_f, **more), source)


def job(*tasks: Task) -> Job:
    week = tuple([Shift(time(6), time(18))] * 7)
    site = Site("Pell Hollow", 43.0, -74.0, 200.0, "America/New_York")
    return Job("wall", site, "us", "tms602-2016", Calendar(week), tasks, on_hand=("heat_sand",))


def lay(**more: object) -> Task:
    start = NOW + timedelta(hours=2)
    made = Task("lay", "lay", "lay_block", 4.0, booked=start, until=start + timedelta(hours=4))
    return replace(made, element={"grouted": False}, **more)  # type: ignore[arg-type]


def ask(task: Task, seen: Forecast | None, *entries: Entry, **more: object) -> TaskAnswer:
    found = decide(job(task), seen, None, Progress(entries), BOOK, NOW, **more)  # type: ignore[arg-type]
    return found[0]


def test_mild_work_goes() -> None:
    assert ask(lay(), forecast(50.0)).call is Call.GO


def test_cold_work_goes_with_its_measures_until_a_clock_time() -> None:
    answer = ask(lay(), forecast(36.0))
    assert answer.call is Call.GO_WITH_PROTECTION
    ends = {m.measure: m.end for m in answer.measures}
    assert ends["heat_sand"] == NOW + timedelta(hours=6)
    assert ends["weather_resistive_cover"] == NOW + timedelta(hours=6 + 24)


@pytest.mark.parametrize("age_h", [12.5, 30.0])
def test_an_old_forecast_never_says_go(age_h: float) -> None:
    answer = ask(lay(), forecast(50.0, age_h))
    assert answer.call is Call.WAIT
    assert answer.outcome is Outcome.NOT_KNOWN


def test_no_forecast_never_says_go() -> None:
    assert ask(lay(), None).call is not Call.GO


@pytest.mark.parametrize("hour", range(2, 6))
def test_a_gap_in_the_hours_of_work_never_says_go(hour: int) -> None:
    air = [50.0] * 60
    air[hour] = float("nan")
    assert ask(lay(), forecast(air)).outcome is Outcome.NOT_KNOWN


def test_a_reading_of_the_coldest_unit_governs() -> None:
    def read(value: float, place: str) -> Entry:
        told = Reading("unit_core_temperature", value, "degF", place, at=NOW)
        return Entry(1, NOW, NOW, EntryKind.READING, reading=told)

    answer = ask(lay(), forecast(36.0), read(35.0, "pallet 1"), read(18.0, "pallet 2"))
    limit = next(x for x in answer.limits if x.quantity == "unit_core_temperature")
    assert (limit.outcome, limit.place) == (Outcome.NO_GO, "pallet 2")
    assert answer.call is not Call.GO_WITH_PROTECTION


def test_finished_work_is_kept_until_its_period_ends() -> None:
    done = NOW - timedelta(hours=3)
    task = Task(
        "keep", "keep", "protect_masonry", 0.0, finished_at=done, element={"grouted": True}
    )
    answer = ask(task, forecast(23.0))
    ends = {m.measure: m.end for m in answer.measures}
    assert answer.call is Call.GO_WITH_PROTECTION
    assert ends["insulating_blankets"] == done + timedelta(hours=48)


def test_a_colder_run_says_what_changed() -> None:
    done = NOW - timedelta(hours=3)
    task = Task(
        "keep", "keep", "protect_masonry", 0.0, finished_at=done, element={"grouted": True}
    )
    answer = ask(task, forecast(23.0), previous=(forecast(30.0, 8.0),))
    assert "forecast_changed" in {c.caution for c in answer.cautions}


def test_a_task_without_a_time_gets_its_best_coming_start() -> None:
    air = [15.0] * 26 + [45.0] * 34
    answer = ask(lay(booked=None, until=None), forecast(air))
    assert answer.next_window is not None
    assert answer.window is not None
