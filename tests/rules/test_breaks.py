"""Calibration from breaks: a band that keeps its promise, and no curve from nonsense."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from rules.breaks import Break, Calibrated, Missing, calibrate, student_quantile
from rules.errors import BadInput, Faults
from rules.strength import SLOW, EurocodeCurve, hours_to_share

DAYS = (1.0, 3.0, 7.0)


def breaks_of(
    s: float, f28: float, *, scatter: float = 0.0, each: int = 2, seed: int = 1
) -> list[Break]:
    rng = np.random.default_rng(seed)
    out = []
    for day in DAYS:
        share = float(EurocodeCurve(s).share(np.array([24.0 * day]))[0])
        noise = np.exp(scatter * rng.normal(size=each))
        out += [Break(24.0 * day, f28 * share * float(one)) for one in noise]
    return out


def fitted(breaks: list[Break], specified: float = 13.79) -> Calibrated:
    found = calibrate(breaks, specified_mpa=specified)
    assert isinstance(found, Calibrated)
    return found


def test_exact_breaks_give_back_the_curve() -> None:
    found = fitted(breaks_of(0.3, 20.0))
    assert found.s == pytest.approx(0.3, abs=1e-9)
    assert found.strength_28_mpa == pytest.approx(20.0, rel=1e-9)
    assert found.scatter == pytest.approx(0.0, abs=1e-9)
    half = EurocodeCurve(0.3).age_h(0.5 * 13.79 / 20.0)
    assert found.middle.curve.age_h(0.5) == pytest.approx(half, rel=2e-3)


@pytest.mark.parametrize("freedom", [1, 2, 4, 9, 30])
@pytest.mark.parametrize("confidence", [0.6, 0.9, 0.95, 0.99])
def test_quantile_agrees_with_a_statistics_library(freedom: int, confidence: float) -> None:
    theirs = stats.t.ppf(confidence, freedom)
    assert student_quantile(confidence, freedom) == pytest.approx(theirs, rel=1e-3)


def test_the_band_holds_one_more_specimen_as_often_as_it_says() -> None:
    held = 0
    rounds = 400
    for seed in range(rounds):
        found = fitted(breaks_of(0.3, 20.0, scatter=0.05, seed=seed))
        lower = float(found.planned_on.curve.share(np.array([96.0]))[0]) * 13.79
        true = 20.0 * float(EurocodeCurve(0.3).share(np.array([96.0]))[0])
        one = true * math.exp(0.05 * np.random.default_rng(10_000 + seed).normal())
        held += one >= lower
    assert 0.86 <= held / rounds <= 0.94  # 90 % is asked


def test_the_planned_curve_is_below_the_middle_and_waits_longer() -> None:
    found = fitted(breaks_of(0.3, 20.0, scatter=0.1))
    ages = np.linspace(24.0, 168.0, 40)  # from the youngest break on
    assert (found.planned_on.curve.share(ages) < found.middle.curve.share(ages)).all()
    trace = np.full(400, 12.0)
    late = hours_to_share(temperature_c=trace, share=0.5, model=found.planned_on)[0]
    early = hours_to_share(temperature_c=trace, share=0.5, model=found.middle)[0]
    assert late > early


def test_nothing_is_credited_past_the_oldest_break() -> None:
    found = fitted(breaks_of(0.3, 20.0))
    at_end = found.middle.curve.share(np.array([168.0, 1000.0]))
    assert at_end[0] == at_end[1]
    assert found.middle.curve.age_h(1.3) == math.inf
    assert np.isnan(found.middle.curve.share(np.array([np.nan]))[0])
    assert found.middle.curve.share(np.array([0.0]))[0] == 0.0


def test_too_few_breaks_say_how_many_are_missing() -> None:
    two = [Break(24.0, 5.0), Break(72.0, 9.0)]
    found = calibrate(two, specified_mpa=13.79)
    assert isinstance(found, Missing)
    assert (found.specimens, found.ages) == (4, 1)
    assert found.text() == "4 more breaks and 1 more age"
    same_age = calibrate([Break(24.0 + k / 10, 5.0) for k in range(6)], specified_mpa=13.79)
    assert isinstance(same_age, Missing)
    assert same_age.text() == "2 more ages"
    assert isinstance(calibrate([], specified_mpa=13.79), Missing)


@pytest.mark.parametrize(
    ("spoiled", "words"),
    [
        ([Break(24.0, 725.0)], "another unit"),
        ([Break(24.0, -1.0)], "cannot be"),
        ([Break(1.0, 2.0)], "too young"),
        ([Break(float("nan"), 2.0)], "too young"),
        ([Break(24.0, 2.0), Break(24.0, 8.0)], "frozen"),
    ],
)
def test_nonsense_is_refused_even_before_there_are_enough(
    spoiled: list[Break], words: str
) -> None:
    with pytest.raises(Faults, match=words):
        calibrate(spoiled, specified_mpa=13.79)


def test_strength_that_falls_with_age_is_refused() -> None:
    falling = [Break(24.0 * d, 20.0 - 1.5 * d) for d in DAYS for _ in range(2)]
    with pytest.raises(Faults, match="falls"):
        calibrate(falling, specified_mpa=13.79)


def test_breaks_of_another_mix_are_refused() -> None:
    with pytest.raises(Faults, match="this mix"):
        calibrate(breaks_of(0.3, 80.0), specified_mpa=13.79)


def test_every_fault_is_told_at_once() -> None:
    with pytest.raises(Faults) as caught:
        calibrate([Break(24.0, 725.0), Break(1.0, 2.0)], specified_mpa=13.79)
    assert len(caught.value.lines()) == 2


def test_confidence_in_percent_is_refused() -> None:
    with pytest.raises(BadInput, match="confidence"):
        calibrate([], specified_mpa=13.79, confidence=90.0)


def test_before_the_youngest_break_no_more_is_credited_than_by_the_slow_curve() -> None:
    """A fast mix broken from 3 days on says nothing of its first night; EN 1992-1-1 3.1.2(6)."""
    late = [one for one in breaks_of(0.2, 27.0, each=3) if one.age_h > 24.0]
    late += [Break(28.0 * 24.0, 27.0)] * 3
    found = fitted(late)
    ages = np.array([6.0, 12.0, 24.0, 48.0, 71.0])
    slow = SLOW.curve.share(ages)
    for model in (found.planned_on, found.middle):
        assert (model.curve.share(ages) <= slow + 1e-12).all()
        assert float(model.curve.share(np.array([72.0]))[0]) > float(
            SLOW.curve.share(np.array([72.0]))[0]
        )
        assert model.curve.age_h(0.25) >= SLOW.curve.age_h(0.25) - 0.5
    assert "before the youngest (72 h) no more than by the slow curve" in found.planned_on.source


def test_below_the_youngest_break_the_fit_still_counts_where_it_is_the_lower() -> None:
    found = fitted(breaks_of(0.6, 16.0))
    ages = np.array([6.0, 12.0, 20.0])
    assert (found.planned_on.curve.share(ages) < SLOW.curve.share(ages)).all()
