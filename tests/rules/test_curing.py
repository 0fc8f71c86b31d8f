"""Fresh work by the hour: the coarse path is never earlier or kinder than the full one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rules.curing import Coarse, Cured, FreshWork, Protection, Shared, bounded, full, shared_trace
from rules.elements import block_wall, footing
from rules.films import FaceWeather, Place, covers, surroundings
from rules.freeze import Fate
from rules.heat import settled
from rules.strength import FAST

PLACE = Place(44.3, -75.1, ground_c=8.0)
BOOK = covers()
BLANKET = Protection("blanket", (BOOK["blanket"], BOOK["bare"]), (48,))
BARE = Protection("bare", (BOOK["bare"],))
TENT = Protection("tent", (BOOK["enclosure"], BOOK["bare"]), (60,))
PROTECTIONS = [BARE, BLANKET, TENT]
WALL = FreshWork(block_wall(), placed_c=15.0, specified_mpa=13.79)
FOOT = FreshWork(footing(depth_m=0.25), placed_c=15.0, specified_mpa=17.24)
days = arrays(np.float64, (2, 9), elements=st.floats(-9, 12))
FINISHES = np.array([0, 11, 60, 100])


def hours_of(daily: np.ndarray, swing: float) -> np.ndarray:
    """Daily means joined by lines, with a swing of the day on top."""
    hours = np.arange(24 * (daily.shape[1] - 1))
    mean = np.stack([np.interp(hours, np.arange(row.size) * 24, row) for row in daily])
    return np.minimum(mean + swing * np.sin(2 * np.pi * (hours - 9) / 24), 14.0)


def both(
    work: FreshWork, protection: Protection, air: np.ndarray, finishes: np.ndarray = FINISHES
) -> tuple[Cured, Shared, Coarse]:
    weather = FaceWeather(
        start=np.datetime64("2026-11-10T05") + np.arange(air.shape[1]) * np.timedelta64(1, "h"),
        air_temperature_c=air,
        wind_speed_ms=np.full(air.shape[1], 5.0),
        cloud_area_fraction_pct=np.full(air.shape[1], 60.0),
        dew_point_temperature_c=air - 3.0,
        precipitation_amount_mm=np.zeros(air.shape[1]),
    )
    around = surroundings(weather, PLACE, protection.covers, work.section)
    cured = full(
        work,
        around=around,
        schedule=protection.schedule(72),
        finishes=finishes,
        before_c=settled(section=work.section, around=around[-1], hours=finishes),
    )
    coarse = bounded(work, around=around, protection=protection, place=PLACE)
    return cured, shared_trace(work, around), coarse


@pytest.mark.parametrize("work", [WALL, FOOT], ids=["wall", "footing"])
@pytest.mark.parametrize("protection", PROTECTIONS, ids=lambda p: p.name)
@settings(max_examples=6)
@given(daily=days, swing=st.floats(0, 6))
def test_coarse_is_never_earlier_or_kinder_than_full(
    work: FreshWork, protection: Protection, daily: np.ndarray, swing: float
) -> None:
    cured, shared, coarse = both(work, protection, hours_of(daily, swing))
    for need in (8.0, 32.0, 60.0):
        sure = shared.carried_on(cured, need)
        assert (coarse.hours_to_age(need)[..., FINISHES] >= sure).all()
    fate, safe = shared.fate_of(cured)
    kept = coarse.fate[..., FINISHES] == Fate.SURVIVES
    assert (fate[kept] == Fate.SURVIVES).all()
    assert (safe[fate == Fate.SURVIVES] <= shared.hours).all()


@pytest.mark.parametrize("protection", PROTECTIONS, ids=lambda p: p.name)
@settings(max_examples=6)
@given(daily=days, swing=st.floats(0, 6), colder=st.floats(0, 6))
def test_colder_air_never_gives_an_earlier_gate(
    protection: Protection, daily: np.ndarray, swing: float, colder: float
) -> None:
    air = hours_of(daily, swing)
    warm, cold = (both(WALL, protection, a) for a in (air, air - colder))
    for need in (8.0, 32.0):
        assert (cold[1].carried_on(cold[0], need) >= warm[1].carried_on(warm[0], need)).all()
        assert (cold[2].hours_to_age(need) >= warm[2].hours_to_age(need)).all()


@settings(max_examples=6)
@given(level=st.floats(-9, 6))
def test_on_the_cold_side_a_better_cover_never_gives_a_later_gate(level: float) -> None:
    air = np.full((1, 190), level)
    kinds = [
        BARE,
        Protection("membrane", (BOOK["membrane"], BOOK["bare"]), (48,)),
        BLANKET,
        Protection("long blanket", (BOOK["blanket"], BOOK["bare"]), (72,)),
    ]
    found = [both(WALL, kind, air) for kind in kinds]
    for need in (8.0, 32.0):
        opened = [shared.carried_on(cured, need) for cured, shared, _ in found]
        for worse, better in zip(opened, opened[1:], strict=False):  # noqa: RUF007
            assert (better <= worse).all()


def test_the_fast_model_is_never_later() -> None:
    air = hours_of(np.full((2, 9), 4.0), 4.0)
    slow, shared, _ = both(WALL, BLANKET, air)
    quick, quick_shared, _ = both(replace(WALL, model=FAST), BLANKET, air)
    for share in (0.2, 0.5):
        late = shared.carried_on(slow, WALL.model.curve.age_h(share))
        early = quick_shared.carried_on(quick, FAST.curve.age_h(share))
        assert (early <= late).all()


def test_unprotected_grout_freezes_where_a_tent_saves_it() -> None:
    air = np.full((1, 190), -8.0)
    fates = {}
    for kind in PROTECTIONS:
        cured, shared, coarse = both(WALL, kind, air)
        fates[kind.name] = (int(shared.fate_of(cured)[0][0, 0]), int(coarse.fate[0, 0]))
    assert fates["bare"] == (Fate.FREEZES, Fate.FREEZES)
    assert fates["blanket"][0] == Fate.FREEZES


def test_schedule_keeps_the_last_cover() -> None:
    assert BLANKET.schedule(72).tolist() == [0] * 48 + [1] * 24
    assert BARE.schedule(3).tolist() == [0, 0, 0]


def test_work_finished_near_the_end_of_the_trace_is_not_known() -> None:
    air = np.full((1, 100), 12.0)
    cured, shared, coarse = both(WALL, BARE, air, np.array([0, 60, 99]))
    last = coarse.hours_to_age(60.0)[0]
    assert (last[60:] == 101).all()
    assert shared.carried_on(cured, 60.0)[0, 1:].tolist() == [101, 101]
    assert shared.fate_of(cured)[0][0, 2] == Fate.NOT_KNOWN
