"""Maturity and strength against the published formulas, worked by hand."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from rules.strength import (
    FAST,
    SLOW,
    Aci209Curve,
    EurocodeCurve,
    arrhenius_rate,
    degrees_above,
    eurocode_rate,
    freiesleben_hansen_pedersen_rate,
    hours_to_share,
)

with (Path(__file__).parent / "strength.csv").open(encoding="utf-8") as file:
    ROWS = list(csv.DictReader(file))


def computed(what: str, temperature_c: np.ndarray, parameter: float) -> float:
    hours = np.array([float(temperature_c.size)])
    match what:
        case "temperature_time_factor":
            return degrees_above(temperature_c=temperature_c, datum_c=parameter).sum()
        case "arrhenius_23" | "arrhenius_20":
            return arrhenius_rate(
                temperature_c=temperature_c,
                activation_k=parameter,
                reference_c=float(what[-2:]),
                zero_c_in_k=273.0,
            ).sum()
        case "eurocode":
            return eurocode_rate(temperature_c=temperature_c, none_below_c=parameter).sum()
        case "freiesleben_hansen_pedersen":
            return freiesleben_hansen_pedersen_rate(temperature_c=temperature_c).sum()
        case "curve_eurocode":
            return EurocodeCurve(parameter).share(hours)[0]
        case "curve_aci209":
            return Aci209Curve(parameter, 0.85).share(hours)[0]
        case "share_at_7_days_fast" | "share_at_7_days_slow":
            model = FAST if what.endswith("fast") else SLOW
            age = model.rate(temperature_c=temperature_c).sum(keepdims=True)
            return model.curve.share(age)[0]
        case "days_to_share":
            return SLOW.curve.age_h(parameter) / 24.0
    raise AssertionError(what)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['what']}: {row['source']}")
def test_value_matches_its_source(row: dict[str, str]) -> None:
    trace = np.repeat([float(t) for t in row["temperatures_c"].split()], int(row["hours_each"]))
    value = computed(row["what"], trace, float(row["parameter"]))
    assert value == pytest.approx(float(row["expected"]), abs=float(row["abs_tol"]))


def test_default_stays_within_what_was_seen_at_5_c() -> None:
    """UK supplier's note on cold placing: 30 to 35 % of strength after 7 days at 5 °C."""
    seven_days = SLOW.rate(temperature_c=np.full(168, 5.0)).sum(keepdims=True)
    assert 0.30 <= SLOW.curve.share(seven_days)[0] <= 0.35


@pytest.mark.parametrize(
    ("temperature", "share", "days"),
    [
        (20.0, 0.25, 1.30),
        (10.0, 0.25, 2.59),
        (5.0, 0.25, 5.18),
        (20.0, 0.5, 3.51),
        (10.0, 0.5, 7.02),
        (5.0, 0.5, 14.04),
        (20.0, 0.7, 7.45),
        (10.0, 0.7, 14.90),
        (5.0, 0.7, 29.80),
        (20.0, 0.75, 9.07),
        (10.0, 0.75, 18.14),
        (5.0, 0.75, 36.28),
    ],
)
def test_first_whole_hour_follows_the_closed_form(
    temperature: float, share: float, days: float
) -> None:
    """28/(1 − ln(share)/0.38)² days at 20 °C, times 20/T by Nurse-Saul from 0 °C."""
    hours = hours_to_share(temperature_c=np.full(1000, temperature), share=share)[0]
    assert hours == pytest.approx(24.0 * days, abs=1.0 + 0.005 * 24.0)
