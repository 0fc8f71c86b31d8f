"""Gates and freezing of a job: what is to come, what is done, what was measured."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import numpy as np
import pytest

from rules.curing import FreshWork
from rules.elements import block_wall
from rules.freeze import Fate
from rules.strength import SLOW
from scheduler.planning.model.frame import Frame, frame_of
from scheduler.planning.model.job import (
    Calendar,
    Criterion,
    Job,
    Link,
    MeasureOffer,
    Shift,
    Site,
    State,
    StrengthGate,
    Task,
)
from scheduler.planning.model.log import Entry, EntryKind, Progress
from scheduler.planning.plan.odds import own_gates
from scheduler.planning.strength.done_work import DoneWork, ElementWeather, done_work, joined
from scheduler.planning.strength.fresh_work import protection
from scheduler.planning.strength.gates import Opening, at_confidence
from scheduler.planning.strength.job_gates import GateWeather, JobGates, job_gates
from scheduler.planning.tables.finish import NEVER
from scheduler.planning.tables.hours import HourlyTable

ZERO = datetime(2026, 11, 10, 5, tzinfo=UTC)
HOURS = 600
SITE = Site("Heron Ferry", 44.3, -75.1, 125.0, "America/New_York")
WEEK = Calendar((Shift(time(7), time(16)),) * 7)
GATE = StrengthGate(share=0.5, wait_h=72.0, purpose="lower_house")
WORK = FreshWork(block_wall(), placed_c=15.0, specified_mpa=13.79)
OPENINGS = {"lower": Opening("lower_house", 0.5, 72.0)}


def table(
    level: float, *, hours: int = HOURS, start: datetime = ZERO, scenarios: int = 4
) -> HourlyTable:
    first = np.datetime64(int(start.timestamp() // 3600), "h")
    swing = 3.0 * np.sin(2 * np.pi * (np.arange(hours) + start.hour - 14) / 24)
    air = level + swing + np.linspace(-0.5, 0.5, scenarios)[:, None]
    return HourlyTable(
        start=first + np.arange(hours) * np.timedelta64(1, "h"),
        columns={
            "air_temperature_c": air,
            "wind_speed_ms": np.full((scenarios, hours), 3.0),
            "cloud_area_fraction_pct": np.full((scenarios, hours), 60.0),
            "dew_point_temperature_c": air - 3.0,
            "precipitation_amount_mm": np.zeros((scenarios, hours)),
        },
    )


def past(level: float, hours: int = 96) -> HourlyTable:
    made = table(level, hours=hours, start=ZERO - timedelta(hours=hours), scenarios=1)
    return HourlyTable(made.start, {name: values[0] for name, values in made.columns.items()})


def gates_of(level: float, **options: object) -> JobGates:
    return framed_gates(level, **options)[1]  # type: ignore[arg-type]


def framed_gates(
    level: float,
    *,
    grout: Task | None = None,
    on_hand: tuple[str, ...] = (),
    gate: StrengthGate = GATE,
    log: tuple[Entry, ...] = (),
    **weather: object,
) -> tuple[Frame, JobGates]:
    placed = grout or Task("grout", "Grout", "place_grout", 5.0)
    lower = Task("lower", "Lower", "lower_house", 7.0, after=(Link("grout", gate=gate),))
    job = Job(
        "north", SITE, "us", "tms602-2016", WEEK, (placed, lower), on_hand=on_hand,
        can_be_had=(MeasureOffer("heated_enclosure", 24.0, 190.0),),
    )  # fmt: skip
    frame = frame_of(job, Progress(log), hour_zero=ZERO, hours=HOURS, now_hour=0)
    finish = np.full(HOURS, NEVER, dtype=np.int32)
    for day in range(20):
        finish[24 * day + 9 : 24 * day + 13] = np.arange(24 * day + 14, 24 * day + 18)
    found = job_gates(
        frame,
        weather=GateWeather(table(level), **weather),  # type: ignore[arg-type]
        finish={"grout": finish},
    )
    return frame, found


def test_a_gate_behind_grout_follows_the_wall_model() -> None:
    found = gates_of(9.0, on_hand=("insulating_blankets",))
    ready = found.ready["lower", "grout"]
    assert ready.shape == (HOURS + 1,)
    assert (np.diff(ready) >= 0).all()
    assert ready[14] >= 14 + 72
    assert (found.optimistic["lower", "grout"] <= ready).all()
    assert found.may_start["grout"].all()
    assert not found.bought["grout"][:400].any()


def test_a_replay_takes_each_scenarios_own_gate_and_the_plan_that_of_the_confidence() -> None:
    """The table's scenarios grow warmer by a third of a degree each; four are all followed."""
    key = ("lower", "grout")
    lay = Task("grout", "Lay", "lay_block", 5.0)
    for grout in (None, lay, done(), replace(lay, state=State.DONE)):
        frame, found = framed_gates(5.0, grout=grout, on_hand=("insulating_blankets",))
        own = own_gates(frame, found)
        assert not found.ungated().ready[key].any()
        each = found.each[key]
        assert (np.diff(each, axis=0) <= 0).all()  # warmer: no later
        assert (each[0] > each[-1]).any()
        followed = [14, 16, 38] if grout is None else slice(None)
        stated = np.ravel(at_confidence(each, 0.9))
        assert np.array_equal(np.ravel(found.ready[key])[followed], stated[followed])
        if grout is None or grout is lay:
            assert own.ready[key] is each
            assert own.opens == {}
        else:
            assert own.ready == {}
            assert np.array_equal(own.opens["lower"], each)


def test_what_stands_on_frozen_work_is_begun_in_no_scenario() -> None:
    measured = np.full(96 + HOURS, np.nan)
    measured[20] = -3.0
    frame, found = framed_gates(8.0, grout=done(), past=past(8.0), measured={"grout": measured})
    assert found.held == {"lower": "grout"}
    assert own_gates(frame, found).opens["lower"].tolist() == [NEVER]


def test_work_that_would_freeze_is_removed_or_needs_what_can_be_bought() -> None:
    cold = gates_of(-3.0, on_hand=("insulating_blankets",))
    started = np.flatnonzero(cold.may_start["grout"][:300] & True)
    with_work = [h for h in started if h % 24 in range(9, 13)]
    assert with_work  # a tent saves them
    assert cold.bought["grout"][14]
    nothing = gates_of(-25.0, on_hand=())
    assert not nothing.may_start["grout"][9]


def test_a_gate_behind_mortar_is_on_air_temperature() -> None:
    lay = Task("grout", "Lay", "lay_block", 5.0)
    found = gates_of(9.0, grout=lay)
    assert found.ready["lower", "grout"].shape == (HOURS + 1,)
    assert found.tables == {}


def done(**options: object) -> Task:
    finished = options.pop("finished", ZERO - timedelta(hours=80))
    return replace(
        Task("grout", "Grout", "place_grout", 5.0), state=State.DONE, finished_at=finished
    )  # type: ignore[arg-type]


def test_finished_work_keeps_what_it_gained_before_now() -> None:
    known = gates_of(8.0, grout=done(), past=past(8.0))
    blind = gates_of(8.0, grout=done())
    ready, without = known.ready["lower", "grout"], blind.ready["lower", "grout"]
    assert ready.shape == ()
    assert int(ready) < int(without)
    told = known.done["grout"]
    assert told.share > 0.1
    assert told.unknown_h == 0
    assert told.modelled_h == 80
    assert blind.done["grout"].unknown_h == 80
    assert blind.done["grout"].share == 0.0
    assert blind.done["grout"].fate is Fate.NOT_KNOWN


def test_the_wait_counts_from_the_finish() -> None:
    fresh = gates_of(22.0, grout=done(finished=ZERO - timedelta(hours=10)), past=past(22.0))
    assert int(fresh.ready["lower", "grout"]) >= 62


def told_of(measured: np.ndarray | None, level: float = 8.0) -> DoneWork:
    return done_work(
        WORK,
        site=SITE,
        finished=ZERO - timedelta(hours=80),
        weather=ElementWeather(table(level), past(level), measured),
        protection=protection("blanket", hours=168),
        openings=OPENINGS,
        confidence=0.9,
    )


def test_measured_temperatures_outrank_the_model() -> None:
    cold, warm = np.full(96 + HOURS, np.nan), np.full(96 + HOURS, np.nan)
    cold[16:96], warm[16:96] = 3.0, 18.0
    model, low, high = told_of(None), told_of(cold), told_of(warm)
    assert low.share < model.share < high.share
    assert int(low.ready["lower"]) > int(high.ready["lower"])
    assert (low.measured_h, low.modelled_h) == (80, 0)
    assert high.fate is Fate.SURVIVES


def test_a_reading_below_freezing_before_it_resists_is_told() -> None:
    frozen = np.full(96 + HOURS, np.nan)
    frozen[20] = -3.0
    told = told_of(frozen)
    assert told.fate is Fate.FREEZES
    assert told.coldest_c == -3.0


def test_the_share_follows_a_constant_measured_temperature() -> None:
    """80 h at 20 °C: exp(0.38 (1 − √(672/80))) = 48.6 %."""
    steady = np.full(96 + HOURS, np.nan)
    steady[16:96] = 20.0
    assert told_of(steady).share == pytest.approx(0.486, abs=0.002)


def test_tables_are_joined_hour_by_hour_with_gaps_between() -> None:
    before = past(5.0, hours=24)
    short = HourlyTable(before.start[:20], {"air_temperature_c": np.full(20, 1.0)})
    whole, now = joined(short, table(5.0))
    assert now == 24
    air = whole.column("air_temperature_c")
    assert air.shape == (4, 24 + HOURS)
    assert (air[:, :20] == 1.0).all()
    assert np.isnan(air[:, 20:24]).all()
    assert np.isnan(whole.column("wind_speed_ms")[:, :24]).all()
    assert joined(None, table(5.0))[1] == 0


def test_an_engineers_degree_hours_follow_the_wall_as_its_own_strength_does() -> None:
    """The degree-hours over 0 °C that Nurse-Saul asks for half the strength: the same hour."""
    need = SLOW.curve.age_h(0.5) * 20.0
    own = Criterion("temperature_time_factor", "degC_h", at_least=need, datum=0.0)
    gate = StrengthGate(None, 72.0, "lower_house", own, allowed_by="R. Ames, engineer")
    to_do, same = gates_of(12.0), gates_of(12.0, gate=gate)
    followed = to_do.tables["grout"].followed
    assert followed.any()
    asked = same.ready["lower", "grout"][followed]
    assert (asked == to_do.ready["lower", "grout"][followed]).all()
    stands = [gates_of(8.0, grout=done(), past=past(8.0), gate=g) for g in (GATE, gate)]
    assert stands[0].ready["lower", "grout"] == stands[1].ready["lower", "grout"]


def test_an_engineers_stricter_bound_opens_later_and_a_milder_one_changes_nothing() -> None:
    need = SLOW.curve.age_h(0.5) * 20.0
    plain = gates_of(12.0).ready["lower", "grout"][14]
    for factor, later in ((0.5, False), (2.0, True)):
        own = Criterion("temperature_time_factor", "degC_h", at_least=factor * need, datum=0.0)
        beside = gates_of(12.0, gate=StrengthGate(0.5, 72.0, "lower_house", own))
        assert bool(beside.ready["lower", "grout"][14] > plain) is later


FROZE = np.full(96 + HOURS, np.nan)
FROZE[20] = -3.0  # four hours after the finish


def test_nothing_goes_on_work_that_froze_until_the_engineer_releases_it_by_name() -> None:
    thing = {"grout": done(), "past": past(8.0), "measured": {"grout": FROZE}}
    held = gates_of(8.0, **thing)  # type: ignore[arg-type]
    assert held.done["grout"].fate is Fate.FREEZES
    assert held.held == {"lower": "grout"}
    assert held.ready["lower", "grout"] == NEVER
    assert not held.may_start["lower"].any()
    for role, lifted in (("lifter", False), ("engineer", True)):
        given = Entry(
            1, ZERO, ZERO, EntryKind.RELEASE, task="lower", who="R. Ames", payload={"role": role}
        )
        after = gates_of(8.0, log=(given,), **thing)  # type: ignore[arg-type]
        assert (after.held == {}) is lifted
        assert bool(after.ready["lower", "grout"] < NEVER) is lifted


def test_readings_alone_prove_a_freeze_in_hours_whose_weather_nobody_knows() -> None:
    """Grout of 13.8 MPa resists at 25 % of it, 31 h at 20 °C: exp(0.38 (1 − √(672/31))).

    At 40 °F, where cold weather begins (ACI 306R-16), that takes 140 h by Nurse-Saul from 0 °C.
    """
    for hour, fate in ((5, Fate.FREEZES), (60, Fate.FREEZES), (150, Fate.NOT_KNOWN)):
        dark = np.full(160, np.nan)
        dark[hour] = -4.0
        old = done(finished=ZERO - timedelta(hours=160))
        told = gates_of(8.0, grout=old, read_before={"grout": dark}).done["grout"]
        assert told.fate is fate
        assert told.coldest_c <= -4.0
        assert told.measured_h == 1
        assert told.unknown_h == 159


def test_hours_that_were_read_count_though_nobody_knows_their_weather() -> None:
    """80 h read at 20 °C: 48.6 %, as under known weather."""
    blind = gates_of(8.0, grout=done())
    read = gates_of(8.0, grout=done(), read_before={"grout": np.full(80, 20.0)})
    assert read.done["grout"].share == pytest.approx(0.486, abs=0.002)
    assert int(read.ready["lower", "grout"]) < int(blind.ready["lower", "grout"])
    assert read.done["grout"].unknown_h == 0
