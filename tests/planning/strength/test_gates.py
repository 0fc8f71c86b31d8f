"""Ready tables: the later of strength and wait, at the job's confidence."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rules.curing import FreshWork
from rules.elements import block_wall
from rules.errors import OutOfRange
from rules.films import FaceWeather, Place
from rules.strength import hours_to_share
from scheduler.planning.model.job import Criterion, StrengthGate
from scheduler.planning.strength.fresh_work import protection
from scheduler.planning.strength.gates import (
    GateTables,
    Opening,
    asked_finishes,
    at_confidence,
    gate_tables,
    opening,
    ready_on_trace,
    ready_table,
)
from scheduler.planning.tables.finish import NEVER

traces = arrays(np.float64, (5, 80), elements=st.floats(-15, 35))
tables = arrays(np.int32, (7, 12), elements=st.integers(0, 500))


@given(trace=traces, share=st.floats(0.02, 0.6), wait=st.floats(0, 30))
def test_a_gate_is_the_later_of_strength_and_wait(
    trace: np.ndarray, share: float, wait: float
) -> None:
    ready = ready_table(temperature_c=trace, share=share, wait_h=wait)
    strong = hours_to_share(temperature_c=trace, share=share)
    open_ = ready < NEVER
    assert (ready >= np.where(strong > 80, NEVER, strong)).all()
    assert ((ready - np.arange(81))[open_] >= wait - 1e-6).all()
    assert (np.diff(ready, axis=-1) >= 0).all()


@given(trace=traces, colder=st.floats(0, 10), share=st.floats(0.02, 0.6))
def test_colder_never_opens_a_gate_earlier(trace: np.ndarray, colder: float, share: float) -> None:
    warm = ready_table(temperature_c=trace, share=share, wait_h=12)
    assert (ready_table(temperature_c=trace - colder, share=share, wait_h=12) >= warm).all()


def test_the_wait_holds_in_warm_weather() -> None:
    ready = ready_table(temperature_c=np.full(200, 30.0), share=0.25, wait_h=72)
    assert (ready[:100] == np.arange(100) + 72).all()


def test_work_before_a_gap_counts_as_no_stronger_than_work_after_it() -> None:
    trace = np.full(40, 20.0)
    trace[30] = np.nan
    ready = ready_table(temperature_c=trace, share=0.05, wait_h=0)
    need = int(hours_to_share(temperature_c=np.full(40, 20.0), share=0.05)[0])
    assert ready[30 - need] == 30
    assert ready[31 - need] == ready[31] == 31 + need
    assert ready[32] == NEVER


@given(table=tables, confidence=st.floats(0.01, 1.0))
def test_at_least_the_asked_share_is_ready(table: np.ndarray, confidence: float) -> None:
    hour = at_confidence(table, confidence)
    assert ((table <= hour).mean(axis=0) >= confidence - 1e-9).all()
    assert (((table < hour).mean(axis=0)) < confidence).all()


def test_never_in_too_many_scenarios_is_never() -> None:
    table = np.array([[5], [6], [NEVER], [7]], dtype=np.int32)
    assert at_confidence(table, 0.75)[0] == 7
    assert at_confidence(table, 0.76)[0] == NEVER


def test_nonsense_is_refused() -> None:
    with pytest.raises(OutOfRange, match="waiting time"):
        ready_table(temperature_c=np.zeros(3), share=0.5, wait_h=-1)
    with pytest.raises(OutOfRange, match="confidence"):
        at_confidence(np.zeros((3, 2), dtype=np.int32), 90.0)


def tables_of(
    air: np.ndarray, cover: str, *, confidence: float = 0.9, covered_h: int = 48
) -> GateTables:
    hours = air.shape[1]
    return gate_tables(
        FreshWork(block_wall(), placed_c=18.0, specified_mpa=13.79),
        weather=FaceWeather(
            start=np.datetime64("2026-11-10T05") + np.arange(hours) * np.timedelta64(1, "h"),
            air_temperature_c=air,
            wind_speed_ms=np.full(hours, 3.0),
            cloud_area_fraction_pct=np.full(hours, 70.0),
            dew_point_temperature_c=air - 3.0,
            precipitation_amount_mm=np.zeros(hours),
        ),
        place=Place(44.3, -75.1),
        protection=protection(cover, hours=covered_h),
        openings={
            "uniform_load": Opening("uniform_load", 0.25, 12.0),
            "lower_house": Opening("lower_house", 0.5, 72.0),
        },
        finishes=np.array([5, 30, 54]),
        confidence=confidence,
        members=4,
    )


def season(level: float, scenarios: int = 6, hours: int = 700) -> np.ndarray:
    rng = np.random.default_rng(5)
    swing = 4.0 * np.sin(2 * np.pi * (np.arange(hours) - 9) / 24)
    return level + swing + rng.normal(0, 1.0, (scenarios, 1))


def test_gate_tables_rise_and_hold_their_waits() -> None:
    found = tables_of(season(8.0), "blanket")
    for table, wait in ((found.ready["uniform_load"], 12), (found.ready["lower_house"], 72)):
        assert (np.diff(table) >= 0).all()
        assert (table - np.arange(701) >= wait).all()
    assert (found.ready["lower_house"] >= found.ready["uniform_load"]).all()
    assert found.followed.sum() == 3
    assert found.assumed == ()


def test_the_full_path_opens_gates_no_later_than_the_bound_beside_it() -> None:
    found = tables_of(season(6.0), "blanket")
    ready = found.ready["uniform_load"]
    assert ready[30] - 30 < ready[31] - 31 or ready[30] == ready[31]
    assert (found.optimistic["uniform_load"] <= ready).all()
    assert found.optimistic["uniform_load"][30] < ready[30]


def test_work_that_would_freeze_is_marked_and_a_tent_saves_it() -> None:
    bare = tables_of(season(-6.0), "bare")
    tent = tables_of(season(-6.0), "enclosure", covered_h=96)
    assert not bare.may_finish(0.9).any()
    assert bare.survives[30] == 0.0
    assert tent.ready["uniform_load"][30] < bare.ready["uniform_load"][30]
    warm = tables_of(season(12.0), "bare")
    assert warm.may_finish(0.9)[[5, 30, 54]].all()
    assert (warm.freeze_safe[[5, 30, 54]] < NEVER).all()
    assert warm.freeze_safe[6] == NEVER  # nobody asked


@pytest.mark.parametrize("level", [3.0, 7.0])
def test_colder_scenarios_never_open_a_gate_earlier(level: float) -> None:
    warm, cold = tables_of(season(level), "blanket"), tables_of(season(level - 3.0), "blanket")
    for name in warm.ready:
        assert (cold.ready[name] >= warm.ready[name]).all()
    assert (cold.survives <= warm.survives + 1e-9).all()


def test_more_confidence_is_never_earlier() -> None:
    sure = tables_of(season(5.0), "blanket", confidence=1.0)
    half = tables_of(season(5.0), "blanket", confidence=0.5)
    assert all((sure.ready[name] >= half.ready[name]).all() for name in sure.ready)


def test_a_job_may_lengthen_a_wait_and_never_shortens_the_books() -> None:
    gate = StrengthGate(share=0.6, wait_h=0.0, purpose="concentrated_load")
    assert opening("concentrated_load", gate, specified_mpa=13.79).wait_h == 72
    longer = StrengthGate(share=0.6, wait_h=100.0, purpose="concentrated_load")
    assert opening("concentrated_load", longer, specified_mpa=13.79).wait_h == 100
    assert opening("uniform_load", None, specified_mpa=13.79).share == pytest.approx(
        0.2538, abs=1e-3
    )
    with pytest.raises(OutOfRange, match="not in the book"):
        opening("paint", None, specified_mpa=13.79)


def _own(criterion: Criterion, *, share: float | None = 0.5, allowed_by: str = "Ames") -> Opening:
    gate = StrengthGate(share=share, purpose="other", criterion=criterion, allowed_by=allowed_by)
    return opening("other", gate, specified_mpa=13.79)


METRIC = Criterion("temperature_time_factor", "degC_h", at_least=3000.0, datum=-10.0)


def test_engineers_degree_hours_replace_strength_where_a_named_person_allows_it() -> None:
    """3000 °C·h over −10 °C at 10 °C: 150 h; the same in °F·h over 14 °F: 5400 °F·h."""
    trace = np.full(400, 10.0)
    inches = Criterion("temperature_time_factor", "degF_h", at_least=5400.0, datum=14.0)
    for criterion in (METRIC, inches):
        assert ready_on_trace(_own(criterion), temperature_c=trace)[0] == 150


def test_an_engineers_bound_that_nobody_allows_alone_counts_beside_the_share() -> None:
    trace = np.full(900, 10.0)
    share = ready_on_trace(_own(METRIC, allowed_by=""), temperature_c=trace)[0]
    plain = ready_table(temperature_c=trace, share=0.5, wait_h=0.0)[0]
    assert share == max(150, plain)
    strict = replace(METRIC, at_least=9000.0)  # 450 h at 10 °C
    assert ready_on_trace(_own(strict, allowed_by=""), temperature_c=trace)[0] == 450


def test_hours_below_the_engineers_temperature_do_not_count() -> None:
    """Seven days at 50 °F or warmer: every second day is colder, so it takes 13."""
    days = np.repeat([10.0, 9.9] * 10, 24)
    week = Criterion("grout_temperature", "degF", at_least=50.0, for_h=168.0)
    assert ready_on_trace(_own(week), temperature_c=days)[0] == 13 * 24


def test_a_break_strength_is_never_met_by_the_calendar() -> None:
    broken = Criterion("grout_strength", "psi", at_least=1500.0, specimens=3)
    with pytest.raises(OutOfRange, match="met by a test"):
        _own(broken)


def test_without_a_share_the_gate_asks_what_the_book_asks() -> None:
    gate = StrengthGate(share=None, purpose="concentrated_load")
    assert opening("concentrated_load", gate, specified_mpa=13.79).share == 0.5


def test_every_near_finish_and_the_last_of_each_later_day_is_followed() -> None:
    finish = np.full(600, NEVER, dtype=np.int32)
    finish[[3, 4, 5]] = [10, 11, 12]
    finish[[400, 401, 402, 425]] = [410, 411, 420, 433]
    assert asked_finishes(finish).tolist() == [10, 11, 12, 420, 433]
    assert asked_finishes(np.full(5, NEVER, dtype=np.int32)).size == 0


def test_a_finish_between_two_followed_ones_fares_as_the_worse() -> None:
    found = tables_of(season(9.0), "blanket")
    between = found.survives[31:54]
    assert (between >= min(found.survives[30], found.survives[54]) - 1e-9).all()
    assert (found.survives[:5] <= found.survives[5] + 1e-9).all()


def test_each_scenario_has_a_gate_of_its_own_and_together_they_are_the_table() -> None:
    """Warmer walls are there sooner; the order statistic over all is about the planned hour."""
    air = np.sort(season(7.0, scenarios=24), axis=0)[::-1]  # the first scenario the warmest
    for cover in ("bare", "blanket"):
        found = tables_of(air, cover, confidence=0.75)
        for name, table in found.ready.items():
            each = found.each[name]
            assert each.shape == (24, 701)
            assert (np.diff(each, axis=1) >= 0).all()
            for finish in (5, 30, 54):
                assert (np.diff(each[4:, finish]) >= 0).all()
                share = (each[:, finish] <= table[finish]).mean()
                assert 0.7 <= share <= 0.85
            late = np.partition(each, 17, axis=0)[17]
            assert (late[55:] == table[55:]).all()  # by the bound alone
