"""What the plan costs and what a day of delay adds: each figure by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import numpy as np
import pytest

from rules.book import load_book
from scheduler.planning.forecast.climate_years import ClimateYears
from scheduler.planning.model.job import (
    Calendar,
    Costs,
    Crew,
    DailyCost,
    ExposureLimits,
    Job,
    MeasureOffer,
    RentedEquipment,
    Shift,
    Site,
    State,
    Task,
)
from scheduler.planning.model.log import Progress
from scheduler.planning.money.plan_money import Money
from scheduler.planning.plan_job import plan_job
from scheduler.planning.tables.hours import Forecast, HourlyTable, Provenance

NOW = datetime(2026, 11, 2, tzinfo=UTC)  # a Monday
BOOK = load_book()
SITE = Site("Pell Hollow", 43.0, 0.0, 200.0, "UTC")
RAISED = Task(
    "raise", "raise", "raise_house", 8.0, state=State.DONE, opens=("floor",),
    started_at=NOW - timedelta(days=3), finished_at=NOW - timedelta(days=2),
)  # fmt: skip
CLOSE = Task(
    "close", "close", "framing", 20.0, crew=("men",), closes=("floor",), may_pause=True
)  # three shifts of eight hours: done on Wednesday at noon
HOURS = 20 * 24


def money(*, air_c: float = 5.0, **more: object) -> Money | None:
    columns = {
        "air_temperature_c": np.full(HOURS, air_c),
        "wind_speed_ms": np.full(HOURS, 2.0),
        "wind_speed_of_gust_ms": np.full(HOURS, 3.0),
        "precipitation_amount_mm": np.zeros(HOURS),
        "relative_humidity_pct": np.full(HOURS, 60.0),
    }
    start = np.datetime64("2026-11-02T00", "h") + np.arange(HOURS)
    told = Forecast(HourlyTable(start[:1], {}), Provenance("grid", NOW, NOW))  # past years only
    years = ClimateYears(
        NOW, tuple(range(2000, 2012)),
        {name: np.tile(values, (12, 1)) for name, values in columns.items()}, "made",
    )  # fmt: skip
    job = Job(
        "house", SITE, "si", "tms602-2016", Calendar(tuple([Shift(time(8), time(16))] * 7)),
        (RAISED, CLOSE), (Crew("men", "men"),), season_end=(NOW + timedelta(days=18)).date(),
    )  # fmt: skip
    planned = plan_job(
        replace(job, **more), book=BOOK, progress=Progress(), forecast=told, climate=years,  # type: ignore[arg-type]
        now=NOW, seed=1, count=24,
    )  # fmt: skip
    return planned.answer.money


def lines(found: Money | None) -> tuple[dict[str, float], dict[str, float]]:
    assert found is not None
    rest, delay = found.rest, found.day_of_delay
    return {x.what: x.total for x in rest.lines}, {x.what: x.total for x in delay.lines}


def test_rent_on_site_and_daily_costs_run_from_now_to_close_in() -> None:
    rented = (
        RentedEquipment("cribbing", ("raise", "close"), 60.0),
        RentedEquipment("lift", ("close",), 40.0),  # comes with its task: not paid for a delay
    )
    rest, delay = lines(money(rented=rented, costs=Costs(daily=(DailyCost("room", 95.0),))))
    assert rest == {"cribbing": 180.0, "lift": 120.0, "room": 285.0}  # Monday to Wednesday
    assert delay == {"cribbing": 60.0, "room": 95.0}


def test_heat_is_counted_where_the_job_prices_it() -> None:
    # 5 °C outside, limit 8 °C, 300 W/K: 0.9 kW; 60 h to Wednesday noon; at 0.20 a kWh.
    limits = ExposureLimits(indoor_freezing_c=8.0, heat_w_per_k=300.0, time_constant_h=60.0)
    rest, delay = lines(money(exposure=limits, costs=Costs(heat_per_kwh=0.2)))
    assert rest["heat in the open house"] == pytest.approx(60 * 0.9 * 0.2)
    assert delay["heat in the open house"] == pytest.approx(24 * 0.9 * 0.2)


def test_crew_hours_are_the_work_itself() -> None:
    found = money(crews=(Crew("men", "men", cost_per_hour=55.0),))
    rest, delay = lines(found)
    assert rest == {"men": 1100.0}
    assert delay == {}
    assert found is not None
    assert "crews while they wait" in found.rest.not_counted


def test_a_job_without_prices_counts_nothing_and_names_everything() -> None:
    found = money()
    assert found is not None
    assert not found.known
    assert len(found.rest.not_counted) == 4


def test_a_measure_that_is_not_needed_is_not_paid() -> None:
    offer = (MeasureOffer("wind_break", 0.0, 30.0),)
    rest, _ = lines(money(can_be_had=offer))
    assert rest.get("wind break", 0.0) == 0.0
