"""The one-zone balance against the closed exponential and a fine march."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rules.errors import OutOfRange
from rules.exposure import NEVER, first_below
from rules.indoor import indoor_temperature
from rules.recurrence import first_order

OUTDOOR = arrays(np.float64, 60, elements=st.floats(-40, 40))


def march(outside: np.ndarray, tau: float, start: float, steps: int) -> np.ndarray:
    """Explicit march with small steps, written apart from the code under test."""
    path = [start]
    for h in range(outside.size):
        nxt = outside[min(h + 1, outside.size - 1)]
        for k in range(steps):
            out = outside[h] + (nxt - outside[h]) * (k + 0.5) / steps
            path.append(path[-1] + (out - path[-1]) / tau / steps)
    return np.array(path)


def test_constant_cold_gives_the_exponential() -> None:
    end, lowest = indoor_temperature(
        air_temperature_c=np.full(48, -10.0), time_constant_h=12.0, indoor_start_c=18.0
    )
    hour = np.arange(1, 49)
    np.testing.assert_allclose(end, -10.0 + 28.0 * np.exp(-hour / 12.0), atol=1e-12)
    np.testing.assert_allclose(lowest, end, atol=1e-12)


@pytest.mark.parametrize("tau", [0.7, 5.0, 40.0])
def test_sloped_hours_agree_with_a_fine_march(tau: float) -> None:
    rng = np.random.default_rng(3)
    outside = rng.normal(0.0, 6.0, 72)
    end, lowest = indoor_temperature(
        air_temperature_c=outside, time_constant_h=tau, indoor_start_c=12.0
    )
    path = march(outside, tau, 12.0, 4000)
    np.testing.assert_allclose(end, path[4000::4000], atol=3e-3)
    fine = path[:-1].reshape(72, 4000).min(axis=1)
    np.testing.assert_allclose(lowest, np.minimum(fine, path[4000::4000]), atol=3e-3)


def test_heat_in_balance_is_the_heat_that_leaves_or_stays() -> None:
    rng = np.random.default_rng(5)
    outside = rng.normal(-3.0, 5.0, 200)
    tau, rise = 9.0, 4.0
    end, _ = indoor_temperature(
        air_temperature_c=outside, time_constant_h=tau, indoor_start_c=10.0, heat_rise_k=rise
    )
    path = march(outside + rise, tau, 10.0, 2000)
    mean_inside = path[:-1].mean()
    mean_outside = np.mean((outside + np.append(outside[1:], outside[-1])) / 2.0)
    stored = tau * (end[-1] - 10.0)
    assert stored == pytest.approx(200 * (mean_outside + rise - mean_inside), abs=0.1)


@given(outside=OUTDOOR, rise=st.floats(0, 30), tau=st.floats(1, 80))
def test_more_heat_is_never_an_earlier_freeze(
    outside: np.ndarray, rise: float, tau: float
) -> None:
    bare = indoor_temperature(air_temperature_c=outside, time_constant_h=tau, indoor_start_c=9.0)
    warm = indoor_temperature(
        air_temperature_c=outside, time_constant_h=tau, indoor_start_c=9.0, heat_rise_k=rise
    )
    assert first_below(warm[1], 0.0)[0] >= first_below(bare[1], 0.0)[0]


@given(outside=OUTDOOR, cut=st.integers(1, 59), tau=st.floats(0.5, 80))
def test_splitting_the_hours_changes_nothing(outside: np.ndarray, cut: int, tau: float) -> None:
    whole, _ = indoor_temperature(
        air_temperature_c=outside, time_constant_h=tau, indoor_start_c=8.0
    )
    first, _ = indoor_temperature(
        air_temperature_c=outside[: cut + 1], time_constant_h=tau, indoor_start_c=8.0
    )
    second, _ = indoor_temperature(
        air_temperature_c=outside[cut:], time_constant_h=tau, indoor_start_c=first[cut - 1]
    )
    np.testing.assert_allclose(second, whole[cut:], atol=1e-9)


def test_a_gap_makes_all_later_hours_unknown() -> None:
    outside = np.full((2, 30), 5.0)
    outside[1, 10] = np.nan
    _, lowest = indoor_temperature(
        air_temperature_c=outside, time_constant_h=8.0, indoor_start_c=10.0
    )
    passed, unknown = first_below(lowest, 0.0)
    assert list(passed) == [NEVER, NEVER]
    assert list(unknown) == [NEVER, 9]


def test_a_long_season_with_a_light_house_stays_inside_double_precision() -> None:
    outside = np.full(5000, -20.0)
    end, _ = indoor_temperature(air_temperature_c=outside, time_constant_h=0.5, indoor_start_c=20)
    assert np.isfinite(end).all()
    assert end[-1] == pytest.approx(-20.0)


def test_a_time_constant_of_nothing_is_refused() -> None:
    with pytest.raises(OutOfRange):
        indoor_temperature(air_temperature_c=np.zeros(3), time_constant_h=0.0, indoor_start_c=10.0)


@given(
    decay=arrays(np.float64, 40, elements=st.floats(1e-6, 1)),
    gain=arrays(np.float64, (3, 40), elements=st.floats(-50, 50)),
    start=st.floats(-50, 50),
)
def test_first_order_is_the_plain_loop(decay: np.ndarray, gain: np.ndarray, start: float) -> None:
    state, loop = np.full(3, start), []
    for h in range(40):
        state = decay[h] * state + gain[:, h]
        loop.append(state)
    got = first_order(decay=decay, gain=gain, start=start)
    np.testing.assert_allclose(got, np.array(loop).T, rtol=1e-9, atol=1e-9)
