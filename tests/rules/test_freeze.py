"""Early freezing: failure, never delay; a gap is not known."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rules.freeze import NO_STEP, Fate, ages_h, fate_on_one_trace, freezing, middles, next_true
from rules.gates import freeze_rule, gates, specified_mpa
from rules.strength import SLOW, nurse_saul_rate

traces = arrays(np.float64, (4, 50), elements=st.floats(-8, 25))


def judged(trace: np.ndarray, need_h: float = 10.0) -> object:
    return freezing(
        coldest_c=trace,
        age_h=ages_h(coldest_c=trace, rate=nurse_saul_rate),
        resists_age_h=need_h,
        freezing_point_c=-1.0,
    )


def test_cold_before_it_resists_is_failure() -> None:
    """20 °C gives an hour each hour; ten are asked for."""
    early = np.full(30, 20.0)
    early[6] = -1.1
    late = np.full(30, 20.0)
    late[12] = -9.0
    edge = np.full(30, 20.0)
    edge[6] = -1.0
    warm = freezing(
        coldest_c=np.stack([early, late, edge]),
        age_h=np.broadcast_to(np.arange(30.0), (3, 30)),
        resists_age_h=10.0,
        freezing_point_c=-1.0,
    )
    assert warm.fate.tolist() == [Fate.FREEZES, Fate.SURVIVES, Fate.SURVIVES]
    assert warm.safe_step.tolist() == [10, 10, 10]
    assert warm.frozen_step.tolist() == [6, 12, NO_STEP]
    assert warm.coldest_c.tolist() == [-1.1, 20.0, -1.0]
    assert warm.coldest_step.tolist() == [6, 0, 6]


def test_freezing_at_the_moment_it_resists_is_survived() -> None:
    trace = np.full(20, 5.0)
    trace[10] = -3.0
    found = freezing(
        coldest_c=trace, age_h=np.arange(20.0), resists_age_h=10.0, freezing_point_c=-1.0
    )
    assert found.fate == Fate.SURVIVES


def test_a_short_or_holed_trace_is_not_known_unless_it_froze_before() -> None:
    short = np.full(6, 20.0)
    holed = np.full(30, 20.0)
    holed[4] = np.nan
    frozen = holed.copy()
    frozen[2] = -5.0
    assert judged(short).fate == Fate.NOT_KNOWN  # type: ignore[attr-defined]
    assert judged(holed).fate == Fate.NOT_KNOWN  # type: ignore[attr-defined]
    assert judged(frozen).fate == Fate.FREEZES  # type: ignore[attr-defined]


@given(trace=traces, colder=st.floats(0, 8))
def test_colder_is_never_kinder(trace: np.ndarray, colder: float) -> None:
    warm, cold = judged(trace), judged(trace - colder)
    survived = cold.fate == Fate.SURVIVES  # type: ignore[attr-defined]
    assert (warm.fate[survived] == Fate.SURVIVES).all()  # type: ignore[attr-defined]
    assert (cold.safe_step >= warm.safe_step).all()  # type: ignore[attr-defined]


@given(trace=traces, need=st.floats(0.5, 25.0))
def test_every_start_on_one_trace_is_judged_as_if_alone(trace: np.ndarray, need: float) -> None:
    rate = nurse_saul_rate(temperature_c=middles(trace))
    fate, safe = fate_on_one_trace(trace_c=trace, rate=rate, need_h=need, freezing_point_c=-1.0)
    for start in range(50):
        alone = judged(trace[:, start:], need)
        assert (fate[:, start] == alone.fate).all()  # type: ignore[attr-defined]
        sure = alone.safe_step < NO_STEP  # type: ignore[attr-defined]
        assert (safe[sure, start] == start + alone.safe_step[sure]).all()  # type: ignore[attr-defined]


def test_next_true_counts_from_each_moment() -> None:
    mask = np.array([[False, True, False, False], [False] * 4])
    assert next_true(mask).tolist() == [[1, 1, 4, 4], [4, 4, 4, 4]]


def test_book_of_gates_is_whole() -> None:
    assert set(gates()) == {
        "take_block", "grout_masonry", "uniform_load", "concentrated_load", "lower_house",
        "tighten_anchors", "blankets_off", "backfill",
    }  # fmt: skip
    assert all(gate.source for gate in gates().values())
    assert freeze_rule().one_freeze_mpa == 3.5
    assert gates()["uniform_load"].wait_h == 12
    assert gates()["concentrated_load"].wait_h == 72


def test_a_gate_asks_for_the_larger_of_share_and_strength() -> None:
    """500 psi of 2000 psi grout is a quarter: 1.30 days at 20 °C by the slow curve."""
    grout = specified_mpa("grout")
    assert abs(gates()["take_block"].needed_share(grout) - 0.25) < 0.005
    assert abs(gates()["take_block"].needed_age_h(SLOW.curve, grout) / 24 - 1.30) < 0.03
    assert gates()["lower_house"].needed_share(grout) == 0.7
    assert gates()["take_block"].needed_share(1.0) == 1.0
