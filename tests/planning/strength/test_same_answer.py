"""Finished grout has one gate at 05:00, 05:30 and 06:00, with a record that lags or has holes.

A house that is looked after every morning at half past five must not be held for an hour that
nobody has observed yet.
"""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta

import numpy as np
import pytest

from rules.book import load_book
from scheduler.planning.evidence.known import known
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
from scheduler.planning.model.log import Progress
from scheduler.planning.plan_job import plan_job
from scheduler.planning.strength.strength_now import with_strength
from scheduler.planning.tables.hours import Forecast, HourlyTable, Provenance

FIVE = datetime(2026, 11, 18, 10, tzinfo=UTC)  # 05:00 at the site
FINISHED = FIVE - timedelta(hours=190)
ASKED = (FIVE, FIVE + timedelta(minutes=30), FIVE + timedelta(hours=1))


def job() -> Job:
    grout = Task("grout", "Grout", "place_grout", 5.0, state=State.DONE, finished_at=FINISHED)
    gate = StrengthGate(share=0.4, wait_h=72.0, purpose="lower_house")
    lower = Task("lower", "Lower", "lower_house", 6.0, after=(Link("grout", gate=gate),))
    return Job(
        "bank", Site("Bank", 40.7, -74.2, 15.0, "America/New_York"), "us", "tms602-2016",
        Calendar((Shift(time(7), time(16)),) * 7), (grout, lower),
    )  # fmt: skip


def hours(start: datetime, count: int, air_c: float) -> HourlyTable:
    first = np.datetime64(int(start.timestamp() // 3600), "h")
    columns = {
        "air_temperature_c": np.full(count, air_c), "wind_speed_ms": np.full(count, 2.0),
        "wind_speed_of_gust_ms": np.full(count, 3.0), "precipitation_amount_mm": np.zeros(count),
    }  # fmt: skip
    return HourlyTable(first + np.arange(count) * np.timedelta64(1, "h"), columns)


def forecast(start: datetime, issued: datetime, air_c: float = 12.0) -> Forecast:
    return Forecast(hours(start, 120, air_c), Provenance("made", issued, issued))


def record(*, lag_h: int = 0, hole_h: int = 0) -> Forecast:
    begin = FINISHED - timedelta(hours=24)
    table = hours(begin, int((FIVE - begin) / timedelta(hours=1)) - lag_h, 12.0)
    if hole_h:
        for values in table.columns.values():
            values[-hole_h - 12 : -12] = np.nan
    return Forecast(table, Provenance("record", FIVE, FIVE))


def kept() -> tuple[Forecast, ...]:
    """Return a forecast of every sixth hour since the work, as a store keeps them."""
    moments = [FINISHED + timedelta(hours=6 * n) for n in range(32)]
    return tuple(forecast(at, at) for at in moments)


def opens_by_call(now: datetime, seen: Forecast) -> datetime | None:
    newest = forecast(FIVE, FIVE)
    told = with_strength(known(job(), newest, seen, Progress(), now, previous=kept()), Progress())
    assert told.strength is not None
    gate = told.strength.gate(told.job.task("lower"), told.job.task("lower").after[0])
    assert gate is not None
    return gate.opens


def opens_by_plan(now: datetime, seen: Forecast) -> datetime | None:
    planned = plan_job(
        job(), book=load_book("tms602-2016"), progress=Progress(), forecast=forecast(FIVE, FIVE),
        climate=None, now=now, seed=1, count=1, observed=seen.table, earlier=kept(),
    )  # fmt: skip
    return planned.answer.gates[0].opens


@pytest.mark.parametrize("now", ASKED, ids=["05:00", "05:30", "06:00"])
@pytest.mark.parametrize("seen", [record(), record(lag_h=5), record(hole_h=4)])
def test_the_gate_is_open_whatever_minute_is_asked_at(now: datetime, seen: Forecast) -> None:
    for opens in (opens_by_call(now, seen), opens_by_plan(now, seen)):
        assert opens is not None
        assert opens <= FIVE + timedelta(hours=1)


def test_a_longer_hole_is_not_credited() -> None:
    late = opens_by_call(ASKED[1], record(hole_h=9))
    assert late is None or late > FIVE + timedelta(hours=24)


def test_a_forecast_that_begins_an_hour_later_still_tells_the_gate() -> None:
    newest = forecast(FIVE + timedelta(hours=1), FIVE)
    told = with_strength(
        known(job(), newest, record(), Progress(), FIVE, previous=kept()), Progress()
    )
    assert told.strength is not None
    gate = told.strength.gate(told.job.task("lower"), told.job.task("lower").after[0])
    assert gate is not None
    assert gate.opens == FIVE
