"""What levers cost and save: every figure worked by hand from hours that are given here.

Hour 0 is Monday 2 November 2026, 00:00; shifts are Monday to Friday, 07:00 to 16:00.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import numpy as np
import pytest

from rules.weather import Weather
from scheduler.planning.levers.levers import Change, Kind, Step
from scheduler.planning.levers.prices import Kept, Priced, PricedJob, Trial
from scheduler.planning.levers.results import by_money, levers_of
from scheduler.planning.model.calendars import local_day_numbers, with_overtime, with_saturday
from scheduler.planning.model.frame import frame_of
from scheduler.planning.model.job import (
    Appointment,
    Calendar,
    Costs,
    Crew,
    DailyCost,
    Hire,
    Job,
    RentedEquipment,
    Shift,
    Site,
    State,
    Task,
)
from scheduler.planning.model.log import Progress
from scheduler.planning.plan.plan_answer import Lever
from scheduler.planning.replay.season_chain import Chain
from scheduler.planning.tables.finish import NEVER

MONDAY = datetime(2026, 11, 2, tzinfo=UTC)
HOURS = 30 * 24
DAY_SHIFT = Shift(time(7), time(16))
WEEK = Calendar((*[DAY_SHIFT] * 5, None, None))
SIX_DAYS = with_saturday(WEEK, DAY_SHIFT)
Span = tuple[int, int]


def at(day: int, clock: int) -> int:
    """Return the hour of a clock time, Monday is day 0."""
    return 24 * day + clock


def job(*tasks: Task, **more: object) -> Job:
    site = Site("t", 44.0, 0.0, 100.0, "UTC")
    crews = (Crew("men", "Block crew"),)
    made = Job("house", site, "us", "tms602-2016", WEEK, tasks, crews)
    return replace(made, **more)  # type: ignore[arg-type]


def task(name: str, hours: float = 8.0, **more: object) -> Task:
    return Task(name, name, "lay_block", hours, crew=("men",), may_pause=True, **more)  # type: ignore[arg-type]


def trial(spans: Mapping[str, Sequence[Span]], closed: Sequence[int], **more: object) -> Trial:
    """Return a trial from each task's start and finish in every scenario."""
    rows = np.array([spans[name] for name in spans], dtype=np.int64)
    chain = Chain(tuple(spans), rows[:, None, :, 0], rows[:, None, :, 1])
    passed = np.full(len(closed), HOURS, dtype=np.int64)
    return Trial(passed, chain, np.array(closed, dtype=np.int64), **more)  # type: ignore[arg-type]


def priced_job(one: Job, *, opened: int = 0, air_c: float = 5.0) -> PricedJob:
    frame = frame_of(one, Progress(), hour_zero=MONDAY, hours=HOURS, now_hour=0)
    days = local_day_numbers("UTC", hour_zero=MONDAY, hours=HOURS)
    air = {"air_temperature_c": np.full((2, HOURS), air_c)}
    return PricedJob(frame, Weather(air, HOURS), days, opened)


def price(one: Job, changed: Job, tried: Trial, *steps: Step, opened: int = 0) -> Priced:
    return priced_job(one, opened=opened).price(Change("it", changed, steps), tried)


SIDE_BY_SIDE = {  # own crew: a on Monday, d on Tuesday; the second: b on Monday, c on two days
    "a": [(at(0, 7), at(0, 15))] * 2,
    "b": [(at(0, 7), at(0, 15)), (at(1, 7), at(1, 15))],
    "c": [(at(1, 9), at(2, 11)), (at(2, 7), at(3, 9))],
    "d": [(at(1, 7), at(1, 12)), (at(3, 9), at(3, 14))],
}


@pytest.mark.parametrize(
    ("prices", "amount", "unit", "total"),
    [
        # first scenario 8 h on Monday, 7 h on Tuesday and 4 h on Wednesday; second none
        ({"another_per_hour": 95.0}, 19 / 2, "h", 902.5),
        ({"another_per_day": 640.0}, 3 / 2, "d", 960.0),
    ],
)
def test_a_second_crew_is_paid_for_the_work_that_the_own_one_has_no_hands_for(
    prices: dict[str, float], amount: float, unit: str, total: float
) -> None:
    crew = Crew("men", "Block crew", **prices)  # type: ignore[arg-type]
    one = job(*map(task, "abcd"), crews=(crew,))
    more = replace(one, crews=(replace(crew, size=2),))
    found = price(one, more, trial(SIDE_BY_SIDE, [200, 200]), Step(Kind.CREW, "men"))
    (line,) = found.lines
    assert (line.amount, line.unit) == (pytest.approx(amount), unit)
    assert found.total == pytest.approx(total)


def test_a_scenario_that_does_not_close_in_is_not_in_the_mean() -> None:
    crew = Crew("men", "Block crew", another_per_hour=95.0)
    one = job(*map(task, "abcd"), crews=(crew,))
    more = replace(one, crews=(replace(crew, size=2),))
    step = Step(Kind.CREW, "men")
    assert price(one, more, trial(SIDE_BY_SIDE, [200, NEVER]), step).total == pytest.approx(1805.0)
    none = price(one, more, trial(SIDE_BY_SIDE, [NEVER, NEVER]), step)
    assert (none.total, none.missing) == (None, ("no scenario closes in with it",))


RATES = Crew("men", "Block crew", saturday_extra_per_hour=30.0, overtime_extra_per_hour=25.0)
LONG_WEEK = {  # Friday 12:00 to Saturday 11:00; Monday 07:00 to 18:00
    "a": [(at(4, 12), at(5, 11))] * 2,
    "b": [(at(7, 7), at(7, 18))] * 2,
}


def test_saturdays_and_overtime_are_paid_by_the_hours_that_were_not_worked_before() -> None:
    one = job(task("a"), task("b"), crews=(RATES,))
    tried = trial(LONG_WEEK, [300, 300])
    saturdays = replace(one, calendar=SIX_DAYS)
    found = price(one, saturdays, tried, Step(Kind.SATURDAY))
    assert found.total == pytest.approx(4 * 30.0)  # 07:00 to 11:00
    longer = replace(one, calendar=with_overtime(WEEK, 2.0))
    found = price(one, longer, tried, Step(Kind.OVERTIME))
    assert found.total == pytest.approx((2 + 2) * 25.0)  # Friday and Monday, 16:00 to 18:00


def test_together_a_saturday_hour_is_paid_as_one_and_no_hour_twice() -> None:
    one = job(task("a"), task("b"), crews=(RATES,))
    spans = {"a": [(at(4, 12), at(5, 18))] * 2, "b": LONG_WEEK["b"]}
    both = replace(one, calendar=with_overtime(SIX_DAYS, 2.0))
    steps = (Step(Kind.SATURDAY), Step(Kind.OVERTIME))
    found = price(one, both, trial(spans, [300, 300]), *steps)
    amounts = {line.kind: line.amount for line in found.lines}
    assert amounts == {"saturday": 11.0, "overtime": 4.0}  # 07:00 to 18:00; 16:00 to 18:00 twice
    assert found.total == pytest.approx(11 * 30.0 + 4 * 25.0)


def test_two_of_a_crew_are_paid_twice() -> None:
    twice = replace(task("b"), crew=("men", "men"))
    one = job(task("a"), twice, crews=(replace(RATES, size=2),))
    longer = replace(one, calendar=with_overtime(WEEK, 2.0))
    found = price(one, longer, trial(LONG_WEEK, [300, 300]), Step(Kind.OVERTIME))
    assert found.total == pytest.approx((2 + 2 * 2) * 25.0)


def test_fees_are_paid_once() -> None:
    visit = Appointment("lifter", MONDAY + timedelta(days=9), other_date_fee=300.0)
    windows = task("b", not_before=MONDAY + timedelta(days=9), sooner_fee=120.0)
    one = job(task("a", appointment=visit), windows)
    steps = (Step(Kind.DATE, "a"), Step(Kind.SOONER, "b"))
    free = replace(one, tasks=(task("a"), windows))
    found = price(one, free, trial(LONG_WEEK, [300, 300]), *steps)
    assert [line.total for line in found.lines] == [300.0, 120.0]
    assert found.total == 420.0


def test_an_enclosure_is_paid_with_its_fuel_over_fresh_work_and_the_week_after_it() -> None:
    grout = Task("g", "Grout", "place_grout", 5.0, crew=("men",))
    costs = Costs(heated_enclosure=Hire(per_day=190.0, fuel_per_day=60.0, once=400.0))
    one = job(grout, task("a"), costs=costs)
    spans = {"g": [(at(0, 7), at(0, 12))] * 2, "a": [(at(1, 7), at(1, 15))] * 2}
    found = price(one, one, trial(spans, [300, 300]), Step(Kind.ENCLOSURE))
    # 5 + 168 h are 8 days begun
    assert [line.total for line in found.lines] == [8 * 190.0, 8 * 60.0, 400.0]
    # mortar that nothing else makes possible in the first scenario: 8 + 24 h, 2 days more
    needed = np.zeros((2, HOURS), dtype=np.bool_)
    needed[0, at(1, 7)] = True
    kept = {"a": Kept(needed, 24.0)}
    found = price(one, one, trial(spans, [300, 300], kept=kept), Step(Kind.ENCLOSURE))
    assert [line.total for line in found.lines] == [9 * 190.0, 9 * 60.0, 1.5 * 400.0]


def test_panels_are_paid_once_and_for_each_day_begun_until_close_in() -> None:
    one = job(task("a"), costs=Costs(temporary_closing=Hire(per_day=12.0, once=350.0)))
    spans = {"a": [(at(0, 7), at(0, 15))] * 2}
    tried = trial(spans, [at(2, 1), at(4, 0)])  # Wednesday 01:00: three days; Friday 00:00: four
    found = price(one, one, tried, Step(Kind.CLOSING))
    assert [line.total for line in found.lines] == [pytest.approx(3.5 * 12.0), 350.0]
    late = price(one, one, tried, Step(Kind.CLOSING), opened=at(1, 8))  # open since Tuesday
    assert late.lines[0].amount == pytest.approx(2.5)


@pytest.mark.parametrize(
    ("step", "key"),
    [
        (Step(Kind.CREW, "men"), "Block crew: another_per_day or another_per_hour"),
        (Step(Kind.SATURDAY), "Block crew: saturday_extra_per_hour"),
        (Step(Kind.OVERTIME), "Block crew: overtime_extra_per_hour"),
        (Step(Kind.DATE, "a"), "a: appointment.other_date_fee"),
        (Step(Kind.SOONER, "b"), "b: sooner_fee"),
        (Step(Kind.ENCLOSURE), "costs.heated_enclosure"),
        (Step(Kind.CLOSING), "costs.temporary_closing"),
    ],
)
def test_what_has_no_price_is_never_free_and_its_key_is_named(step: Step, key: str) -> None:
    visit = Appointment("lifter", MONDAY + timedelta(days=9))
    windows = task("b", not_before=MONDAY + timedelta(days=9))
    one = job(task("a", appointment=visit), windows)
    longer = replace(one, calendar=with_overtime(SIX_DAYS, 2.0))
    found = price(one, longer, trial(LONG_WEEK, [300, 300]), step)
    assert found.total is None
    assert found.missing == (key,)


def test_a_pair_of_which_one_has_no_price_has_none() -> None:
    one = job(task("a"), task("b"), crews=(replace(RATES, overtime_extra_per_hour=None),))
    both = replace(one, calendar=with_overtime(SIX_DAYS, 2.0))
    steps = (Step(Kind.SATURDAY), Step(Kind.OVERTIME))
    found = price(one, both, trial(LONG_WEEK, [300, 300]), *steps)
    assert found.total is None
    assert [line.kind for line in found.lines] == ["saturday"]


def test_what_an_earlier_close_in_saves_is_days_of_rent_and_daily_costs() -> None:
    raised = Task(
        "raise",
        "raise",
        "raise_house",
        8.0,
        state=State.DONE,
        finished_at=MONDAY,
        opens=("floor",),
    )
    one = job(
        raised, task("lower"),
        rented=(RentedEquipment("cribbing", ("raise", "lower"), 60.0, MONDAY),),
        costs=Costs(daily=(DailyCost("room", 95.0),)),
    )  # fmt: skip
    was = trial({"lower": [(at(9, 7), at(9, 15)), (at(14, 7), at(14, 15))]}, [at(9, 15), NEVER])
    is_ = trial({"lower": [(at(4, 7), at(4, 15)), (at(7, 7), at(7, 15))]}, [at(6, 15), at(7, 15)])
    saved = priced_job(one).saved(was, is_)  # the second was not closed in: it cannot be told
    assert [(line.what, line.amount, line.total) for line in saved] == [
        ("cribbing", 5.0, 300.0),  # lowered on Saturday the 7th in place of Wednesday the 11th
        ("room", 3.0, 285.0),
    ]
    back = priced_job(one).saved(is_, was)
    assert [line.total for line in back] == [-300.0, -285.0]


def lever(what: str, gain: float, days: float | None, cost: float | None) -> Lever:
    per_day = None if cost is None or not days else cost / days
    return Lever(what, 0.9, gain, None, cost=cost, days_gained=days, cost_per_day_gained=per_day)


def test_days_for_the_money_come_first_then_chance_alone_then_what_has_no_price() -> None:
    rows = (
        lever("unpriced, most chance", 0.3, 9.0, None),
        lever("dear", 0.2, 4.0, 1200.0),  # 300 a day
        lever("chance alone", 0.1, 0.0, 10.0),
        lever("cheap", 0.01, 2.0, 150.0),  # 75 a day
        lever("costs nothing", 0.01, 1.0, 0.0),
        lever("unpriced", 0.1, 1.0, None),
    )
    assert [one.what for one in by_money(rows)] == [
        "costs nothing", "cheap", "dear", "chance alone", "unpriced, most chance", "unpriced",
    ]  # fmt: skip


def test_what_buys_neither_chance_nor_days_is_left_out_and_the_most_chance_comes_first() -> None:
    one = job(task("a"))
    spans = {"a": [(0, 10)] * 4}

    def closed(*hours: int) -> Trial:
        passed = np.array([10, 20, 30, 40], dtype=np.int64)
        return replace(trial(spans, hours), passed=passed)

    def change(name: str) -> Change:
        return Change(name, one, (Step(Kind.SOONER, "a"),))

    late = closed(15, 25, 25, 25)  # made in two of four
    tried = [
        (change("little"), closed(15, 18, 25, 25)),  # three
        (change("none"), closed(15, 25, 25, NEVER)),
        (change("much"), closed(5, 5, 5, 5)),  # four
        (change("days alone"), closed(11, 21, 11, 11)),  # two, but half are closed in 14 h sooner
    ]
    found = levers_of(0.48, priced_job(one), late, tried)
    assert [(one.what, one.chance_gain) for one in found] == [
        ("much", 0.5), ("little", 0.25), ("days alone", 0.0),
    ]  # fmt: skip
    assert found[0].chance == pytest.approx(0.98)
    assert found[0].days_gained == pytest.approx(20 / 24)
    never = closed(*[NEVER] * 4)
    (saved,) = levers_of(0.0, priced_job(one), never, [(change("saves"), closed(5, 5, 5, 5))])
    assert saved.days_gained is None  # no number of days stands for never
