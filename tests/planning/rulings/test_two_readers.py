"""A row is read twice: for arrays of hours (the plan) and for one task now (the answer).

Over random weather both must say the same of the same hours, row by row. Where one looks at what
the other cannot know, the row is named here with the reason.
"""

from __future__ import annotations

import os
from collections import Counter
from datetime import UTC, datetime, time

import numpy as np
import pytest

from rules.book import load_book
from rules.explain import Reason, explain
from rules.grading import is_by_hour, is_by_start, is_on_site
from rules.judge import Asked
from rules.kinds import Form, kind_of
from rules.verdict import KEYS
from rules.weather import Weather
from rules.words import words
from scheduler.planning.calls.decide import decide
from scheduler.planning.evidence.facts import asked_without_log
from scheduler.planning.model.answer import LimitLine
from scheduler.planning.model.job import Calendar, Job, Shift, Site, Task
from scheduler.planning.model.log import Progress
from scheduler.planning.tables.hours import Forecast, HourlyTable, Provenance

NOW = datetime(2026, 11, 9, 11, tzinfo=UTC)
SOAK = bool(os.environ.get("CLOSEIN_SOAK"))
HOURS = 120
FIRST = int(NOW.timestamp() // 3600)
BOOK = load_book()
WORK = [kind for kind in words().work_types if kind_of(kind).form is Form.WORK]
# Both read the row, and what they see differs: why.
SEES_MORE = {
    "trench.daily-look": "the answer counts from the day's own look, which no array has",
}
MEANS = (-20.0, -8.0, -2.0, 1.0, 4.0, 8.0, 20.0, 38.0)


def job() -> Job:
    return Job(
        name="made",
        site=Site("made", 44.0, -75.0, 100.0, "America/New_York"),
        units="us",
        book=BOOK.edition,
        calendar=Calendar(week=(Shift(time(7), time(16)),) * 7),
        on_hand=tuple(words().measures),
        tasks=tuple(Task(id=kind, name=kind, work_type=kind, duration_h=4.0) for kind in WORK),
    )


def weather(rng: np.random.Generator) -> HourlyTable:
    air = rng.choice(MEANS) + 0.3 * rng.normal(0, 4, HOURS).cumsum()
    wind = rng.uniform(0, 15, HOURS)
    rain = np.where(rng.random(HOURS) < 0.2, rng.exponential(2, HOURS), 0.0)
    columns = {
        "air_temperature_c": air,
        "dew_point_temperature_c": air - rng.uniform(0, 10, HOURS),
        "relative_humidity_pct": rng.uniform(20, 100, HOURS),
        "wind_speed_ms": wind,
        "wind_speed_of_gust_ms": wind * rng.uniform(1, 2, HOURS),
        "precipitation_amount_mm": rain,
        "precipitation_probability_pct": rng.uniform(0, 100, HOURS),
        "cloud_area_fraction_pct": rng.uniform(0, 100, HOURS),
    }
    if rng.random() < 0.25:
        air[rng.integers(0, HOURS, 5)] = np.nan
    start = np.datetime64(FIRST, "h") + np.arange(HOURS) * np.timedelta64(1, "h")
    return HourlyTable(start, columns)


def read_twice(table: HourlyTable) -> list[tuple[LimitLine, Reason | None]]:
    """Return each limit of the answers, with what the other reader makes of the same hours."""
    asked_job = job()
    forecast = Forecast(table, Provenance("made", NOW, NOW))
    pairs: list[tuple[LimitLine, Reason | None]] = []
    for answer in decide(asked_job, forecast, None, Progress(), BOOK, NOW):
        span = answer.window
        if span is None or span.start is None or span.end is None:
            continue
        start = int(span.start.timestamp() // 3600) - FIRST
        end = int((span.end.timestamp() - 1) // 3600) + 1 - FIRST
        if start < 0 or end > HOURS:
            continue
        facts = asked_without_log(asked_job, asked_job.task(answer.task), NOW).facts
        asked = Asked(answer.work_type, facts, frozenset(words().measures))
        found = explain(BOOK, asked, Weather(dict(table.columns), HOURS), start, end)
        by_row = {reason.row.id: reason for reason in found}
        pairs += [(limit, by_row.get(limit.rule)) for limit in answer.limits]
    return pairs


def before_the_table(reason: Reason) -> bool:
    """Tell whether a row asks after hours before the forecast: the plan has them read on site."""
    return reason.low is not None and reason.low < 0


@pytest.mark.soak
@pytest.mark.parametrize("seed", range(12 if SOAK else 2))
def test_both_readers_say_the_same_of_the_same_hours(seed: int) -> None:
    rng = np.random.default_rng(seed)
    compared: Counter[str] = Counter()
    tables = 10 if SOAK else 3
    for _ in range(tables):
        for limit, reason in read_twice(weather(rng)):
            if reason is None or limit.rule in SEES_MORE or before_the_table(reason):
                continue
            assert KEYS[reason.verdict] == limit.outcome.value, (limit, reason)
            compared[limit.rule] += 1
    assert len(compared) > 50  # rows
    assert compared.total() > 100 * tables


def test_rows_that_arrays_do_not_read_are_placed_by_what_no_array_has() -> None:
    """By the clock, by a look at the trench, by days counted: the answer reads those alone."""
    rng = np.random.default_rng(7)
    rows = {row.id: row for row in BOOK.rows}
    for limit, reason in (pair for _ in range(2) for pair in read_twice(weather(rng))):
        row = rows.get(limit.rule)
        if reason is not None or row is None:
            continue
        assert row.hours is not None or row.when or row.unless, row.id
        if row.hours is None or is_by_hour(row) or is_by_start(row) or is_on_site(row):
            continue
        anchors = {row.hours.from_.anchor, row.hours.until.anchor}
        assert anchors - {"start", "end"} or row.taken_as == "count", row.id
