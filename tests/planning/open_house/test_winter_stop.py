"""Stopping for the winter: last dates by hand, decisions by what is left, never no date as go."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import numpy as np

from rules.book import load_book, sources
from rules.leaving import left_standing
from rules.words import words
from scheduler.planning.forecast.climate_years import ClimateYears
from scheduler.planning.forecast.scenarios import Scenarios, scenarios
from scheduler.planning.model.frame import frame_of
from scheduler.planning.model.job import Calendar, Job, Shift, Site, State, Task
from scheduler.planning.model.log import Progress
from scheduler.planning.open_house.winter_stop import ORDER, WinterStop, steps, winter_stop
from scheduler.planning.tables.hours import HourlyTable

NOW = datetime(2026, 11, 1, tzinfo=UTC)
BOOK = load_book()
SITE = Site("Pell Hollow", 43.0, 0.0, 200.0, "UTC")
WEEK = Calendar(tuple([Shift(time(8), time(16))] * 7))
DAYS = 40


def task(kind: str, state: State, **more: object) -> Task:
    made = Task(kind, kind, kind, 8.0, state=state)
    if state is State.DONE:
        made = replace(
            made, started_at=NOW - timedelta(days=9), finished_at=NOW - timedelta(days=8)
        )
    return replace(made, **more)  # type: ignore[arg-type]


RAISED = task("raise_house", State.DONE, opens=("floor",))
LAID = task("lay_block", State.DONE)
LOWER = task("lower_house", State.TO_DO, closes=("floor",))
FILL = task("backfill", State.TO_DO)


def weather(first_frost: tuple[int, ...], *, known: bool = True) -> Scenarios:
    """Years that freeze first on the given days from now, at 03:00."""
    air = np.full((len(first_frost), DAYS * 24), 8.0)
    for row, day in enumerate(first_frost):
        air[row, day * 24 + 3 :] = -2.0
    calm = np.full_like(air, 3.0 if known else np.nan)
    columns = {
        "air_temperature_c": air,
        "wind_speed_ms": calm,
        "wind_speed_of_gust_ms": calm,
        "precipitation_amount_mm": calm * 0.0,
    }
    years = ClimateYears(NOW, tuple(range(2000, 2000 + len(first_frost))), columns, "made")
    nothing = HourlyTable(np.datetime64("2026-11-01T00", "h") + np.arange(0), {})
    return scenarios(
        forecast=nothing, climate=years, now=NOW, until=NOW + timedelta(days=DAYS), seed=1,
        count=len(first_frost),
    )  # fmt: skip


def ask(seen: Scenarios, *tasks: Task, chance: float | None = 0.5, **more: object) -> WinterStop:
    job = Job("house", SITE, "si", "tms602-2016", WEEK, tasks, **more)  # type: ignore[arg-type]
    frame = frame_of(job, Progress(), hour_zero=NOW, hours=DAYS * 24, now_hour=0)
    return winter_stop(frame, BOOK, seen, chance=chance)


def by_row(stop: WinterStop) -> dict[str, date | None]:
    return {line.row: line.by for line in stop.lines if line.row}


NINE = (30, 12, 25, 9, 33, 18, 21, 28, 15)


def test_the_last_date_is_the_day_before_the_lowest_frost_that_the_confidence_asks_for() -> None:
    # Nine years, 90 %: the earliest of them, day 9 at 03:00, 10 November; the day before it.
    assert by_row(ask(weather(NINE), RAISED, LOWER))["water.bare-lines"] == date(2026, 11, 9)


def test_less_confidence_and_later_frosts_give_no_earlier_date() -> None:
    bold = by_row(ask(weather(NINE), RAISED, LOWER, confidence=0.7))
    late = by_row(ask(weather(tuple(day + 3 for day in NINE)), RAISED, LOWER))
    assert bold["water.bare-lines"] == date(2026, 11, 15)  # the third of nine: day 15
    assert late["water.bare-lines"] == date(2026, 11, 12)


def test_weather_that_nobody_knows_is_done_at_the_stop() -> None:
    unknown = ask(weather(NINE, known=False), RAISED, LOWER)
    gusts = next(line for line in unknown.lines if line.row == "wind.cribs")
    assert (gusts.now, gusts.by) == (True, None)
    few = next(
        line for line in ask(weather(NINE[:4]), RAISED).lines if line.row == "water.bare-lines"
    )
    assert few.now


def test_a_limit_that_is_not_reached_is_not_said_to_be() -> None:
    calm = next(line for line in ask(weather(NINE), RAISED).lines if line.row == "wind.cribs")
    assert (calm.now, calm.by) == (False, None)


def test_a_wall_without_a_floor_is_not_filled_against_and_its_footing_is_kept_from_frost() -> None:
    stop = ask(weather(NINE), RAISED, LAID, LOWER, FILL)
    do_not = next(line for line in stop.lines if line.row == "backfill.unbraced")
    assert do_not.do == "do_not"
    assert "wall_collapse_under_fill" in do_not.cautions
    assert by_row(stop)["footing.exposed"] == date(2026, 11, 9)
    assert "backfill.frost-before" not in by_row(stop)


def test_a_wall_under_its_floor_is_filled_against_before_the_frost() -> None:
    down = task("lower_house", State.DONE, closes=("floor",))
    stop = ask(weather(NINE), RAISED, LAID, down, FILL)
    assert by_row(stop)["backfill.frost-before"] == date(2026, 11, 9)
    assert "backfill.unbraced" not in by_row(stop)
    assert "wind.cribs" not in by_row(stop)


def test_it_applies_only_under_the_chance_that_the_job_set() -> None:
    for chance, under, applies in (
        (0.5, 0.6, True), (0.6, 0.6, False), (0.9, 0.6, False), (None, 0.6, False),
        (0.1, None, False),
    ):  # fmt: skip
        stop = ask(weather(NINE), RAISED, LOWER, chance=chance, stop_under=under)
        assert stop.applies is applies, (chance, under)


def test_what_would_open_more_is_not_begun() -> None:
    opens = task("demolish_openings", State.TO_DO, opens=("wall",))
    assert ask(weather(NINE), RAISED, opens, LOWER).not_begun == ("demolish_openings",)


def test_every_step_speaks_the_books_words() -> None:
    rows = {row.id for row in BOOK.rows}
    names = {thing.name for thing in left_standing()}
    for step in steps():
        assert step.do in ORDER
        assert step.source in sources()
        assert set(step.who) <= set(words().roles)
        assert set(step.cautions) <= set(words().cautions)
        assert {*step.done, *step.open_} <= set(words().work_types)
        assert {step.with_, step.without} <= {"", *names}
        assert step.row in {"", *rows}
