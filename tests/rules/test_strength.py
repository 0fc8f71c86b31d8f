"""Strength: what must hold for every trace."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rules.errors import OutOfRange
from rules.strength import (
    FAST,
    SLOW,
    Aci209Curve,
    EurocodeCurve,
    HyperbolicCurve,
    arrhenius_rate,
    cumulative_age_h,
    eurocode_rate,
    freiesleben_hansen_pedersen_rate,
    hours_to_share,
    nurse_saul_rate,
)

traces = arrays(np.float64, (3, 60), elements=st.floats(-25, 45))
shares = st.floats(0.02, 0.9)
RATES = [nurse_saul_rate, arrhenius_rate, eurocode_rate, freiesleben_hansen_pedersen_rate]
CURVES = [EurocodeCurve(0.38), Aci209Curve(), HyperbolicCurve(1.1, 0.3, 6.0)]


def plain(rate: np.ndarray, need_h: float) -> np.ndarray:
    """The same hours by the plainest loop."""
    hours = rate.size
    out = np.full(hours + 1, hours + 1)
    for start in range(hours + 1):
        age = 0.0
        for hour in range(start, hours):
            age += rate[hour]
            if np.isnan(age):
                break
            if age >= need_h - 1e-6:
                out[start] = hour + 1
                break
    return out


@given(trace=traces, share=shares)
def test_hours_equal_a_plain_loop(trace: np.ndarray, share: float) -> None:
    need = SLOW.curve.age_h(share)
    found = hours_to_share(temperature_c=trace, share=share)
    rates = nurse_saul_rate(temperature_c=trace)
    for row, rate in zip(found, rates, strict=True):
        expected = plain(rate, need)
        sums = np.abs(cumulative_age_h(rate=rate) - need)
        assert (row == expected).all() or sums.min() < 1e-5


@given(trace=traces, share=shares, gaps=st.lists(st.integers(0, 59), min_size=1, max_size=4))
def test_a_gap_before_the_share_is_never_passed(
    trace: np.ndarray, share: float, gaps: list[int]
) -> None:
    holed = trace.copy()
    holed[:, gaps] = np.nan
    found = hours_to_share(temperature_c=holed, share=share)
    whole = hours_to_share(temperature_c=trace, share=share)
    for start in range(61):
        gap = min((g for g in gaps if g >= start), default=60)
        ahead = whole[:, start] > gap
        assert (found[ahead, start] == 61).all()
        assert (found[~ahead, start] == whole[~ahead, start]).all()


@given(trace=traces, colder=st.floats(0, 15), share=shares)
def test_colder_is_never_earlier(trace: np.ndarray, colder: float, share: float) -> None:
    for model in (SLOW, FAST):
        warm = hours_to_share(temperature_c=trace, share=share, model=model)
        cold = hours_to_share(temperature_c=trace - colder, share=share, model=model)
        assert (cold >= warm).all()


@given(trace=traces, share=shares)
def test_later_finish_is_never_ready_earlier(trace: np.ndarray, share: float) -> None:
    assert (np.diff(hours_to_share(temperature_c=trace, share=share), axis=-1) >= 0).all()


@given(trace=traces, share=shares)
def test_the_optimistic_bound_is_never_the_later(trace: np.ndarray, share: float) -> None:
    slow = hours_to_share(temperature_c=trace, share=share)
    fast = hours_to_share(temperature_c=trace, share=share, model=FAST)
    assert (fast <= slow).all()


@given(trace=traces)
@pytest.mark.parametrize("rate", RATES)
def test_nothing_is_gained_below_freezing(rate: object, trace: np.ndarray) -> None:
    gained = rate(temperature_c=trace)  # type: ignore[operator]
    assert (gained >= 0).all()
    assert (gained[trace < -1.0] == 0).all()


@given(first=traces, second=traces, share=shares)
def test_splitting_scenarios_changes_nothing(
    first: np.ndarray, second: np.ndarray, share: float
) -> None:
    both = hours_to_share(temperature_c=np.stack([first, second]), share=share)
    apart = [hours_to_share(temperature_c=trace, share=share) for trace in (first, second)]
    assert (both == np.stack(apart)).all()


@pytest.mark.parametrize("curve", CURVES, ids=repr)
@given(share=shares)
def test_age_and_share_are_inverse(curve: object, share: float) -> None:
    age = curve.age_h(share)  # type: ignore[attr-defined]
    assert curve.share(np.array([age]))[0] == pytest.approx(share, abs=1e-12)  # type: ignore[attr-defined]


@pytest.mark.parametrize("curve", CURVES, ids=repr)
def test_strength_starts_at_nothing_and_rises(curve: object) -> None:
    share = curve.share(np.arange(0.0, 800.0))  # type: ignore[attr-defined]
    assert share[0] == 0
    assert (np.diff(share) >= 0).all()


def test_a_share_in_percent_is_refused() -> None:
    with pytest.raises(OutOfRange, match="not percent"):
        hours_to_share(temperature_c=np.full(4, 10.0), share=70.0)


def test_a_share_beyond_the_curve_is_never_reached() -> None:
    assert HyperbolicCurve(0.9, 0.3).age_h(0.95) == float("inf")
    never = hours_to_share(
        temperature_c=np.full(9, 20.0),
        share=0.95,
        model=type(SLOW)("test", nurse_saul_rate, HyperbolicCurve(0.9, 0.3), "none"),
    )
    assert (never == 10).all()
