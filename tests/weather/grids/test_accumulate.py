"""Intervals, however they overlap, into hours: nothing twice, nothing lost."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.weather.grids.accumulate import plan_hours, settle


def hourly(intervals: dict[tuple[float, float], float]) -> np.ndarray:
    """Hours from amounts over intervals given in hours."""
    spans = [(round(a * 60), round(b * 60)) for a, b in intervals]
    return plan_hours(spans).apply(np.array(list(intervals.values())))


def test_rain_since_the_start_and_of_the_last_hour_together() -> None:
    got = hourly({(0, 5): 9.0, (0, 6): 10.5, (6, 7): 0.4, (0, 7): 10.9})
    assert got[5:] == pytest.approx([1.5, 0.4])
    assert got.sum() == pytest.approx(10.9)


def test_buckets_that_grow_and_restart() -> None:
    amounts = {(0, n): float(n) for n in range(1, 7)} | {
        (6, n): 2.0 * (n - 6) for n in range(7, 13)
    }
    assert hourly(amounts) == pytest.approx([1.0] * 6 + [2.0] * 6)


def test_the_same_interval_twice_counts_once() -> None:
    spans = [(0, 360), (0, 360), (300, 360)]
    plan = plan_hours(spans)
    assert plan.apply(np.array([6.0, 6.0, 1.0])) == pytest.approx([1.0] * 6)


def test_a_total_with_its_last_hour_leaves_the_rest_to_the_hours_before() -> None:
    got = hourly({(0, 12): 12.0, (11, 12): 3.0})
    assert got[11] == pytest.approx(3.0)
    assert got[:11] == pytest.approx([9.0 / 11] * 11)


def test_quarter_hours_add_up_and_half_an_hour_alone_is_unknown() -> None:
    got = hourly(
        {(0, 0.25): 1.0, (0.25, 0.5): 2.0, (0.5, 0.75): 3.0, (0.75, 1): 4.0, (1, 1.5): 5.0}
    )
    assert got[0] == pytest.approx(10.0)
    assert np.isnan(got[1])


def test_an_hour_between_intervals_is_unknown_not_dry() -> None:
    got = hourly({(0, 1): 1.0, (2, 3): 1.0})
    assert np.isnan(got[1])
    assert got[[0, 2]].tolist() == [1.0, 1.0]


def test_an_unknown_amount_spoils_the_hours_that_need_it_and_no_others() -> None:
    got = hourly({(0, 1): 1.0, (0, 2): np.nan, (0, 3): 4.0, (3, 4): 0.5})
    assert got[[0, 3]].tolist() == [1.0, 0.5]
    assert np.isnan(got[1:3]).all()


def test_intervals_that_cross_without_touching_both_keep_their_amount() -> None:
    got = hourly({(0, 6): 6.0, (3, 9): 9.0})
    assert got[:6].sum() == pytest.approx(6.0)
    assert got[3:].sum() == pytest.approx(9.0)


def test_one_plan_serves_many_places() -> None:
    plan = plan_hours([(0, 60), (0, 120)])
    many = plan.apply(np.array([[[1.0, 3.0], [0.0, np.nan]], [[2.0, 2.0], [5.0, 6.0]]]))
    assert many.shape == (2, 2, 2)
    assert many[0, 0].tolist() == [1.0, 2.0]
    assert many[1, 1].tolist() == [5.0, 1.0]
    assert many[0, 1, 0] == 0.0
    assert np.isnan(many[0, 1, 1])


rain = st.lists(st.floats(0, 30), min_size=2, max_size=24)


@given(rain, st.data())
def test_hours_come_back_from_any_mixture_that_determines_them(
    truth: list[float], data: st.DataObject
) -> None:
    """A running total and hours in any order and number; each hour is said at least once."""
    total = np.concatenate(([0.0], np.cumsum(truth)))
    hours = len(truth)
    spans = [(h, h + 1) for h in range(hours)]
    starts = st.integers(0, hours - 1)
    more = data.draw(st.lists(st.tuples(starts, st.integers(1, hours)), max_size=20))
    spans += [(a, min(a + n, hours)) for a, n in more]
    order = data.draw(st.permutations(spans))
    plan = plan_hours([(60 * a, 60 * b) for a, b in order])
    got = plan.apply(np.array([total[b] - total[a] for a, b in order]))
    assert got == pytest.approx(truth, abs=1e-9)


@given(rain, st.data())
def test_no_interval_s_amount_is_lost_or_doubled(truth: list[float], data: st.DataObject) -> None:
    """Whatever intervals a file gives, its hours add up to the amount of the time covered."""
    total = np.concatenate(([0.0], np.cumsum(truth)))
    hours = len(truth)
    pairs = st.tuples(st.integers(0, hours - 1), st.integers(1, hours))
    drawn = data.draw(st.lists(pairs, min_size=1, max_size=8))
    spans = [(a, min(a + n, hours)) for a, n in drawn]
    plan = plan_hours([(60 * a, 60 * b) for a, b in spans])
    got = plan.apply(np.array([total[b] - total[a] for a, b in spans]))
    first = min(a for a, _ in spans)
    for a, b in spans:
        inside = got[a - first : b - first]
        assert not np.isnan(inside).any()
        assert inside.sum() == pytest.approx(total[b] - total[a], abs=1e-9)


def test_rounding_below_zero_is_taken_out_and_the_total_stays() -> None:
    kept, fallen = settle(np.array([1.0, -0.05, 2.0, 0.0]), 0.1)
    assert (kept >= 0).all()
    assert kept.sum() == pytest.approx(2.95)
    assert fallen == 0


def test_a_total_that_falls_is_unknown() -> None:
    kept, fallen = settle(np.array([1.0, -3.0, 2.0]), 0.1)
    assert fallen == 1
    assert np.isnan(kept[1])
    assert kept[[0, 2]].tolist() == [1.0, 2.0]
