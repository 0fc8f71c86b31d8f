"""What nobody knows, what is too young, and what cannot be there in time: calls and plan alike.

Sources stand beside each case; "practice" marks habit without a published figure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import numpy as np
import pytest

from rules.book import load_book, measures
from rules.evaporation import evaporation_rate
from rules.units import convert
from scheduler.planning.calls.decide import decide
from scheduler.planning.evidence.book_waits import as_old_as_asked, with_book_waits
from scheduler.planning.model.answer import Call, TaskAnswer
from scheduler.planning.model.job import (
    Calendar,
    Job,
    Link,
    MeasureOffer,
    Shift,
    Site,
    State,
    Task,
)
from scheduler.planning.model.log import Entry, EntryKind, Fact, Progress
from scheduler.planning.model.means import on_site_from
from scheduler.planning.tables.hours import Forecast, HourlyTable, Provenance

NOW = datetime(2026, 10, 20, 9, 30, tzinfo=UTC)  # Tuesday 05:30 at the site
BOOK = load_book()
GOES = {Call.GO, Call.GO_WITH_PROTECTION}
MILD = {
    "air_temperature_c": 12.0,
    "relative_humidity_pct": 60.0,
    "wind_speed_ms": 2.0,
    "wind_speed_of_gust_ms": 3.0,
    "precipitation_amount_mm": 0.0,
    "precipitation_probability_pct": 0.0,
    "thunderstorm_probability_pct": 0.0,
}
BACK_H, HOURS = 48, 200


def sky(*, without: Sequence[str] = (), hours: int = HOURS, **spans: dict[int, float]) -> Forecast:
    """Return mild weather; a column's hours count from 07:00 at the site today."""
    columns = {name: np.full(hours, value) for name, value in MILD.items() if name not in without}
    for name, told in spans.items():
        for hour, value in told.items():
            columns[name][BACK_H + 2 + hour] = value
    start = np.datetime64("2026-10-20T09", "h") - BACK_H + np.arange(hours)
    issued = NOW - timedelta(hours=1)
    return Forecast(HourlyTable(start, columns), Provenance("grid", issued, issued))


def done(kind: str, hours_ago: float) -> Task:
    end = NOW - timedelta(hours=hours_ago)
    return Task(
        "before", "before", kind, 3.0, state=State.DONE,
        started_at=end - timedelta(hours=3), finished_at=end,
    )  # fmt: skip


def task(kind: str, hours: float = 4.0, **more: object) -> Task:
    made = Task("task", "task", kind, hours, after=(Link("before"),))
    return replace(made, **more)  # type: ignore[arg-type]


def job(*tasks: Task, on_hand: Sequence[str] = (), offers: Sequence[MeasureOffer] = ()) -> Job:
    week = (*[Shift(time(7), time(16))] * 5, None, None)
    site = Site("Alder Court", 44.0, -75.0, 100.0, "America/New_York")
    return Job(
        "made", site, "us", "tms602-2016", Calendar(week), tasks,
        on_hand=tuple(on_hand), can_be_had=tuple(offers),
    )  # fmt: skip


def ask(one: Job, seen: Forecast, *entries: Entry) -> TaskAnswer:
    found = decide(one, seen, None, Progress(entries), BOOK, NOW)
    return next(answer for answer in found if answer.task == "task")


def starts_from(answer: TaskAnswer) -> float:
    """Return how many hours after 07:00 today a go starts; far off where there is none."""
    if answer.call not in GOES or answer.window is None or answer.window.start is None:
        return np.inf
    return (answer.window.start - NOW) / timedelta(hours=1) - 1.5


@pytest.mark.parametrize(
    ("kind", "before", "age_h", "least_h"),
    [
        ("lower_house", "place_grout", 16.0, 72.0),  # UFGS 04 20 00: 72 h, concentrated load
        ("lower_house", "lay_block", 16.0, 72.0),  # the same, "after the masonry is constructed"
        ("lower_house", "lay_block", 60.0, 72.0),
        ("backfill", "place_grout", 16.0, 72.0),  # IRC R404.1.7, strength first; 3 days: practice
        ("backfill", "lay_block", 40.0, 72.0),
        ("raise_house", "place_footing", 18.0, 48.0),  # pads under cribs cure 48 h: practice
    ],
)  # fmt: skip
def test_young_work_is_waited_for_by_calls_and_plan(
    kind: str, before: str, age_h: float, least_h: float
) -> None:
    one = job(done(before, age_h), task(kind))
    assert starts_from(ask(one, sky())) >= least_h - age_h - 1.5
    planned = as_old_as_asked(one, BOOK, Progress(), NOW).task("task")
    opened = one.task("before").finished_at
    assert opened is not None
    assert planned.not_before is not None
    assert planned.not_before >= opened + timedelta(hours=least_h)


def test_an_open_predecessor_hands_its_wait_on_through_other_tasks() -> None:
    grout = Task("grout", "grout", "place_grout", 4.0)
    look = Task("look", "look", "inspection", 1.0, after=(Link("grout"),))
    lower = Task("task", "task", "lower_house", 6.0, after=(Link("look"),))
    waited = with_book_waits(job(grout, look, lower), BOOK, Progress(), NOW).task("task")
    assert {link.task: link.wait_h for link in waited.after} == {"look": 0.0, "grout": 72.0}


@pytest.mark.parametrize("kind", ["lower_house", "backfill"])
def test_an_age_that_nobody_logged_is_no_age(kind: str) -> None:
    assert ask(job(task(kind, after=())), sky()).call not in GOES


def test_no_pads_in_the_job_bind_no_raise() -> None:
    assert ask(job(task("raise_house", after=())), sky()).call in GOES
    later = Task("pads", "pads", "place_footing", 3.0, after=(Link("task"),))
    assert ask(job(task("raise_house", after=()), later), sky()).call in GOES


def test_a_logged_day_makes_the_age_known() -> None:
    built = Fact("wall", "completed", "2026-09-01", at=NOW)
    entry = Entry(1, NOW, NOW, EntryKind.FACT, fact=built)
    assert ask(job(task("backfill", after=())), sky(), entry).call is Call.GO


def test_young_grout_takes_snug_nuts_only() -> None:
    answer = ask(job(done("place_grout", 17.0), task("set_sill")), sky())
    assert "snug_nuts_only" in {line.measure for line in answer.measures}


@pytest.mark.parametrize(
    ("column", "told"),
    [
        ("thunderstorm_probability_pct", {3: 65.0}),  # 30/30 rule: leave steel and jacks
        ("precipitation_amount_mm", {2: 10.0}),  # 0.4 in. an hour: practice of lifters
        ("wind_speed_of_gust_ms", {6: 18.0}),  # the hour after the end: practice
    ],
)
@pytest.mark.parametrize("kind", ["lower_house", "raise_house"])
def test_a_house_is_not_left_hanging(kind: str, column: str, told: dict[int, float]) -> None:
    answer = ask(job(done("place_grout", 900.0), task(kind, 6.0)), sky(**{column: told}))
    assert starts_from(answer) > max(told)


@pytest.mark.parametrize("hours", [BACK_H + 5, BACK_H + 20])
def test_the_first_day_after_grout_is_forecast_or_not_known(hours: int) -> None:
    """NCMA TEK 03-01C: grouted masonry is judged on the lowest of the 48 h after it."""
    grout = task("place_grout", 3.0, after=(), element={"grouted": True})
    assert ask(job(grout), sky(hours=hours)).call not in GOES
    assert ask(job(grout), sky(hours=BACK_H + 40)).call is Call.GO


def test_a_forecast_of_another_place_speaks_for_no_site() -> None:
    near, far = (
        replace(sky(), provenance=replace(sky().provenance, distance_km=km))
        for km in (20.0, 400.0)
    )
    lay = job(task("lay_block", after=()))
    assert ask(lay, near).call is Call.GO
    answer = ask(lay, far)
    assert answer.call not in GOES
    assert "forecast_elsewhere" in {line.caution for line in answer.cautions}


@pytest.mark.parametrize(
    "column", ["precipitation_amount_mm", "wind_speed_ms", "air_temperature_c"]
)
def test_a_column_that_is_absent_is_never_a_mere_check(column: str) -> None:
    gone = [column, "precipitation_probability_pct", "wind_speed_of_gust_ms"]
    assert ask(job(task("lay_block", after=())), sky(without=gone)).call not in GOES


def test_amount_alone_judges_a_dry_day() -> None:
    """The book names the amount in the chance's place, and the chance in the amount's."""
    for gone in ("precipitation_amount_mm", "precipitation_probability_pct"):
        assert ask(job(task("lay_block", after=())), sky(without=[gone])).call is Call.GO


def test_kit_counts_from_the_hour_it_can_arrive() -> None:
    """TMS 602-16 1.8 C.4: least of 48 h under 25 F, insulating blankets."""
    cold = sky(air_temperature_c=dict.fromkeys(range(10, 24), -5.0))
    grout = task("place_grout", 3.0, after=(), element={"grouted": True})
    assert ask(job(grout, on_hand=["insulating_blankets"]), cold).call is Call.GO_WITH_PROTECTION
    soon, late = (MeasureOffer("insulating_blankets", h) for h in (4.0, 40.0))
    assert starts_from(ask(job(grout, offers=[soon]), cold)) == 0.0
    assert starts_from(ask(job(grout, offers=[late]), cold)) >= 24.0
    assert starts_from(ask(job(grout), cold)) >= 24.0


def test_what_nobody_has_is_named_with_the_hour_it_would_have_to_stand() -> None:
    cold = sky(air_temperature_c=dict.fromkeys(range(10, 24), -5.0))
    begin = NOW + timedelta(hours=1.5)
    grout = task(
        "place_grout", 3.0, after=(), booked=begin, until=begin + timedelta(hours=3),
        element={"grouted": True},
    )  # fmt: skip
    answer = ask(job(grout), cold)
    assert answer.call is Call.WAIT
    assert "needs insulating blankets by Tue 20 Oct 10:00" in answer.reason
    assert "insulating_blankets" in {line.measure for line in answer.measures}


def test_a_yard_takes_two_working_hours_and_kit_is_never_guessed() -> None:
    there = on_site_from(job(), NOW)
    assert there["primer"] == datetime(2026, 10, 20, 13, tzinfo=UTC)  # 09:00, the yard opens at 7
    kit = {name for name, one in measures().items() if one.kind == "kit"}
    assert not kit & there.keys()


@pytest.mark.parametrize(("air_c", "goes"), [(4.0, False), (7.2, True), (11.0, True)])
def test_tape_without_a_label_takes_the_careful_row(air_c: float, goes: bool) -> None:
    """A rubberised-asphalt tape's own words: 50 F, or 40 F with primer."""
    cool = sky(air_temperature_c=dict.fromkeys(range(-BACK_H - 2, HOURS - BACK_H - 2), air_c))
    answer = ask(job(task("flash_openings", after=()), on_hand=["primer"]), cool)
    asked = {line.measure for line in answer.measures}
    assert (answer.call in GOES) is goes
    assert ("primer" in asked) is (goes and air_c < 10.0)


def test_a_joint_waits_for_drying_after_rain_and_for_dew() -> None:
    """ASTM C1193: clean, dry, frost-free faces; six hours and 2 F over dew: practice."""
    seal = task("seal_joints", 3.0, after=())
    rain = sky(precipitation_amount_mm=dict.fromkeys(range(-6, 0), 1.5))
    assert starts_from(ask(job(seal), rain)) >= 5.0
    fog = sky(relative_humidity_pct=dict.fromkeys(range(-6, 3), 97.0))
    assert starts_from(ask(job(seal), fog)) >= 3.0
    dry = Entry(1, NOW, NOW, EntryKind.FACT, fact=Fact("surface", "dry", True, at=NOW))
    assert starts_from(ask(job(seal), rain, dry)) < 5.0


def test_a_slab_dries_by_its_own_warmth_in_cold_dry_wind() -> None:
    """Uno 1998 at 0 C, 40 %, 12 m/s, concrete 16 C: 0.206 lb/ft2h; Menzel gives 0.196."""
    rate = evaporation_rate(
        air_temperature_c=np.array([0.0]),
        relative_humidity_pct=np.array([40.0]),
        wind_speed_ms=np.array([12.0]),
    )
    told = float(convert(rate, "kg/m2/h", "lb/ft2/h")[0])
    assert told == pytest.approx(0.206, abs=0.002)
