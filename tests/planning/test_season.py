"""The season question: chains by hand, chances by hand, money by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time

import numpy as np
import pytest

from rules.book import load_book
from rules.words import words
from scheduler.planning.forecast.climate_years import ClimateYears
from scheduler.planning.model.job import (
    Calendar,
    Costs,
    Crew,
    DailyCost,
    ExposureLimits,
    Job,
    Link,
    MeasureOffer,
    RentedEquipment,
    Shift,
    Site,
    Task,
)
from scheduler.planning.model.log import Progress
from scheduler.planning.replay.season_chain import replay
from scheduler.planning.schedule.network import Problem, Tie, Work
from scheduler.planning.season import Advice, Asked, SeasonAnswer, season
from scheduler.planning.tables.finish import NEVER, ready_after

BOOK = load_book()
SITE = Site("Pell Hollow", 43.0, 0.0, 200.0, "UTC")
WEEK = Calendar(tuple([Shift(time(8), time(16))] * 7))
TASKS = (
    Task("raise", "raise", "raise_house", 4.0, crew=("lifter",), opens=("floor",)),
    Task("lay", "lay", "framing", 16.0, crew=("men",), after=(Link("raise"),), may_pause=True),
    Task(
        "lower", "lower", "lower_house", 4.0, crew=("lifter",), after=(Link("lay"),),
        closes=("floor",),
    ),
)  # fmt: skip
CREWS = (Crew("men", "men", cost_per_hour=50.0), Crew("lifter", "lifter"))
FIRST = date(2026, 8, 1)


def job(**more: object) -> Job:
    made = Job(
        "house", SITE, "si", "tms602-2016", WEEK, TASKS, CREWS, confidence=0.75,
        exposure=ExposureLimits(time_constant_h=1.0),
    )  # fmt: skip
    return replace(made, **more)  # type: ignore[arg-type]


def years(asked: Asked, *, count: int = 12, shift_c: float = 0.0) -> ClimateYears:
    """A made year: 20 °C in August, 20 K less in February, the years one kelvin apart."""
    moment = asked.hour_zero.timestamp() / 86400.0 + np.arange(asked.hours) / 24.0
    season_c = 10.0 + 12.0 * np.cos(2.0 * np.pi * (moment - 212.0) / 365.25)
    day_c = 3.0 * np.cos(2.0 * np.pi * (np.arange(asked.hours) - 15.0) / 24.0)
    each = np.arange(count)[:, None] - count / 2.0
    return ClimateYears(
        start=asked.hour_zero,
        years=tuple(range(2000, 2000 + count)),
        columns={
            "air_temperature_c": season_c + day_c + each + shift_c,
            "wind_speed_ms": np.full((count, asked.hours), 2.0),
            "wind_speed_of_gust_ms": np.full((count, asked.hours), 3.0),
            "precipitation_amount_mm": np.zeros((count, asked.hours)),
            "relative_humidity_pct": np.full((count, asked.hours), 60.0),
        },
        station="made",
    )


def ask(asked: Asked, made: Job | None = None, **more: float) -> SeasonAnswer:
    return season(
        made or job(), asked=asked, book=BOOK, progress=Progress(),
        climate=years(asked, **more),  # type: ignore[arg-type]
    )  # fmt: skip


def starts(days: int = 364, step: int = 14) -> Asked:
    last = date.fromordinal(FIRST.toordinal() + days)
    return Asked.of(job(), first=FIRST, last=last, step=step)


def test_a_chain_goes_task_by_task_as_links_crew_and_year_let_it() -> None:
    hours = 60
    fair = np.arange(hours) + 3
    fair[-3:] = NEVER
    shut = np.where(np.arange(hours) < 20, NEVER, fair)  # the second year: nothing before hour 20
    tables = {"a": np.stack([fair, shut]), "b": np.stack([fair, fair])}
    works = tuple(Work(name, tables[name][0], {"men": 1}) for name in ("a", "b"))
    tie = Tie("a", "b", ready_after(hours, 5))
    found = replay(
        Problem(hours, works, (tie,), {"men": 1}), tables, np.array([0, 30]), years=2,
        order=["a", "b"],
    )  # fmt: skip
    assert found.start.tolist() == [[[0, 20], [30, 30]], [[8, 28], [38, 38]]]
    assert found.finish[1].tolist() == [[11, 31], [41, 41]]


def test_one_crew_does_one_thing_at_a_time_and_two_do_two() -> None:
    table = np.stack([np.append(np.arange(30) + 4, [NEVER] * 4)]).astype(np.int32)
    works = tuple(Work(name, table[0], {"men": 1}) for name in ("a", "b"))
    for size, second in ((1, 4), (2, 0)):
        problem = Problem(34, works, (), {"men": size})
        found = replay(problem, {"a": table, "b": table}, np.array([0]), years=1, order=["b", "a"])
        assert found.start[:, 0, 0].tolist() == [second, 0]


def test_a_successor_that_would_come_too_late_never_comes() -> None:
    table = np.stack([np.append(np.arange(30) + 4, [NEVER] * 4)]).astype(np.int32)
    late = np.where(np.arange(34) < 20, NEVER, table[0])[None]
    works = (Work("a", table[0]), Work("b", table[0]))
    tie = Tie("a", "b", ready_after(34, 0), within=6)
    found = replay(
        Problem(34, works, (tie,)), {"a": table, "b": late}, np.array([0]), years=1,
        order=["a", "b"],
    )  # fmt: skip
    assert found.start[1, 0, 0] == NEVER


def test_summer_starts_are_safe_winter_ones_are_not_and_spring_comes_again() -> None:
    found = ask(starts())
    assert found.advice is Advice.START_BY
    assert found.last_start is not None
    assert found.next_start is not None
    assert date(2026, 9, 15) < found.last_start < date(2026, 12, 15)
    assert date(2027, 2, 1) < found.next_start < date(2027, 6, 1)
    assert found.starts[0].chance == 1.0
    winter = next(row for row in found.starts if row.day > date(2027, 1, 10))
    assert (winter.chance or 0.0) < 0.5
    assert winter.limit == "indoor_air"


def test_in_winter_the_answer_is_to_wait() -> None:
    asked = Asked.of(job(), first=date(2027, 1, 1), last=date(2027, 6, 1), step=14)
    found = ask(asked)
    assert found.advice is Advice.WAIT
    assert found.last_start is None
    assert found.next_start is not None


def test_a_colder_set_of_years_never_raises_a_chance() -> None:
    warm, cold = ask(starts(step=28)), ask(starts(step=28), shift_c=-2.0)
    for before, after in zip(warm.starts, cold.starts, strict=True):
        assert (after.chance or 0.0) <= (before.chance or 0.0)


def test_more_confidence_never_gives_a_later_last_start() -> None:
    last = [ask(starts(), job(confidence=c)).last_start for c in (0.6, 0.75, 0.9)]
    told = [one for one in last if one is not None]
    assert told == sorted(told, reverse=True)


def test_too_few_years_advise_nothing() -> None:
    found = ask(starts(28), job(confidence=0.95), count=12)
    assert found.advice is Advice.NOT_KNOWN
    assert "fewer than the 19 whole past years" in " ".join(found.notes)


def test_a_year_with_a_gap_before_it_is_settled_does_not_count() -> None:
    asked = starts(0)
    made = years(asked)
    made.columns["air_temperature_c"][0, 30] = np.nan
    found = season(job(), asked=asked, book=BOOK, progress=Progress(), climate=made)
    assert found.starts[0].years == 11


def test_the_bill_is_the_jobs_own_prices_times_days_and_hours() -> None:
    # Raised Saturday 1 Aug 08:00 to 12:00, framed 12:00 to Monday 12:00, lowered 12:00 to 16:00:
    # 2.33 days from the first hour to the last, so three days are paid; 16 crew hours.
    priced = job(
        rented=(RentedEquipment("cribbing", ("raise", "lower"), 90.0),),
        costs=Costs("$", daily=(DailyCost("room", 75.0),)),
    )
    bill = ask(starts(0), priced).starts[0].bill
    totals = {line.what: line.total for line in bill.lines}
    assert totals == {"cribbing": 270.0, "men": 800.0, "room": 225.0}
    assert bill.total == 1295.0
    assert "heat: costs.heat_per_kwh and exposure.heat_w_per_k" in bill.not_counted
    assert "lifter: its cost_per_hour" in bill.not_counted


def test_heat_is_what_holds_the_house_at_its_limit() -> None:
    # 1 °C outside, limit 11 °C, 200 W/K: 2 kWh in each hour from 08:00 on day one to 16:00 on day
    # three, 56 hours, at 0.25 a kWh.
    asked = starts(0)
    made = years(asked)
    made.columns["air_temperature_c"][:] = 1.0
    limits = ExposureLimits(indoor_freezing_c=11.0, heat_w_per_k=200.0, time_constant_h=60.0)
    cold = job(exposure=limits, costs=Costs(heat_per_kwh=0.25))
    found = season(cold, asked=asked, book=BOOK, progress=Progress(), climate=made)
    (heat,) = (line for line in found.starts[0].bill.lines if line.kind == "heat")
    assert heat.amount == pytest.approx(112.0)
    assert heat.total == pytest.approx(28.0)


def test_what_is_not_priced_is_named_and_never_nought() -> None:
    bill = ask(starts(0), job(crews=(Crew("men", "men"), Crew("lifter", "lifter")))).starts[0].bill
    assert bill.lines == ()
    assert len(bill.not_counted) == 5


def test_hours_of_a_start_are_counted_from_local_midnight_across_the_clock_change() -> None:
    made = job(site=replace(SITE, time_zone="America/New_York"))
    asked = Asked.of(made, first=date(2026, 10, 30), last=date(2026, 11, 3), step=2)
    assert asked.hour_zero == datetime(2026, 10, 30, 4, tzinfo=UTC)
    assert asked.begin.tolist() == [0, 48, 97]


def test_a_task_that_closes_sooner_never_lowers_a_chance() -> None:
    """The same house with less to do before it is closed, from every start date."""
    quick = tuple(replace(t, duration_h=8.0) if t.id == "lay" else t for t in TASKS)
    slow = tuple(replace(t, duration_h=80.0) if t.id == "lay" else t for t in TASKS)
    for fast, late in zip(
        ask(starts(step=28), job(tasks=quick)).starts,
        ask(starts(step=28), job(tasks=slow)).starts,
        strict=True,
    ):
        assert (fast.chance or 0.0) >= (late.chance or 0.0)
        assert (fast.crib_days[1] or 0.0) <= (late.crib_days[1] or np.inf)


@pytest.mark.parametrize(("grouted", "days"), [(False, 2.0), (True, 3.0)])
def test_an_enclosure_is_paid_for_the_work_and_the_keeping_after_it(
    grouted: bool, days: float
) -> None:
    """At -9 degC nothing is laid without it: 4 h and 24 h are two days, 4 h and 48 h are three."""
    asked = starts(0)
    made = years(asked)
    made.columns["air_temperature_c"][:] = -9.0
    lay = Task(
        "lay", "lay", "lay_block", 4.0, closes=("floor",),
        element={"grouted": grouted, "cement": "type_i_ii"},
    )  # fmt: skip
    cold = job(
        tasks=(lay,), exposure=ExposureLimits(indoor_freezing_c=-60.0),
        on_hand=tuple(name for name in words().measures if name != "heated_enclosure"),
        can_be_had=(MeasureOffer("heated_enclosure", 24.0, 190.0),),
    )  # fmt: skip
    found = season(cold, asked=asked, book=BOOK, progress=Progress(), climate=made)
    (line,) = (one for one in found.starts[0].bill.lines if one.kind == "protection")
    assert (line.amount, line.total) == (days, days * 190.0)
