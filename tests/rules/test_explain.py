from __future__ import annotations

import numpy as np
import pytest

from rules.book import load_book
from rules.explain import explain, walk
from rules.facts import Asked
from rules.judge import start_and_work_verdicts
from rules.units import convert
from rules.verdict import Verdict
from rules.weather import Weather

BOOK = load_book("tms602-2016")


def weather(**columns: object) -> Weather:
    fair = {
        "air_temperature_c": 10.0,
        "wind_speed_ms": 2.0,
        "wind_speed_of_gust_ms": 3.0,
        "precipitation_amount_mm": 0.0,
        "precipitation_probability_pct": 0.0,
    }
    table = {name: np.array(np.broadcast_to(v, 96), float) for name, v in (fair | columns).items()}
    return Weather(table, 96)


def fahrenheit(*values: float) -> np.ndarray:
    return convert(np.resize(np.array(values, dtype=np.float64), 96), "degF", "degC")


def test_every_reason_names_value_hour_source_and_clause() -> None:
    sky = weather(air_temperature_c=fahrenheit(45, 38, 24, 31, 44, 50))
    asked = Asked("lay_block", {"task.grouted": False})
    reasons = explain(BOOK, asked, sky, 0, 5)
    by_id = {reason.row.id: reason for reason in reasons}
    cold = by_id["masonry.cold.laying"]
    assert (cold.at, cold.verdict) == (2, Verdict.GO_WITH_PROTECTION)
    assert cold.value == pytest.approx(24)
    assert all(r.row.source and r.row.clause for r in reasons)
    judged = [r.verdict for r in reasons if not r.ask_on_site]
    assert judged == sorted(judged, reverse=True)


def test_what_nobody_read_is_asked_for_and_judges_nothing() -> None:
    reasons = explain(BOOK, Asked("lay_block"), weather(), 0, 4)
    core = next(r for r in reasons if r.row.id == "masonry.cold.unit-temperature")
    assert core.ask_on_site
    assert core.value is None


def test_a_refusal_beyond_the_table_is_not_known() -> None:
    reasons = explain(BOOK, Asked("lay_block"), weather(), 94, 99)
    cold = next(r for r in reasons if r.row.id == "masonry.cold.laying")
    assert cold.verdict is Verdict.NOT_KNOWN


def test_a_verdict_is_walked_hour_by_hour() -> None:
    sky = weather(wind_speed_of_gust_ms=np.resize([4.0, 8.0, 12.0], 96))
    first = walk(BOOK, Asked("lower_house"), sky, 0, 3)[0]
    assert first.reason.row.id == "wind.lift.gust"
    assert first.values == pytest.approx(np.array([4.0, 8.0, 12.0]) / 0.44704)
    assert first.outcomes.tolist() == [0, 0, 3]


def test_a_protection_is_walked_over_the_hours_that_count_together() -> None:
    asked = Asked("place_grout", {"task.grouted": True})
    sky = weather(air_temperature_c=fahrenheit(45, 30))
    found = {w.reason.row.id: w for w in walk(BOOK, asked, sky, 10, 14)}
    night = found["masonry.cold.protect-grouted"]
    assert (night.first, night.values.size, night.outcomes.size) == (14, 48, 0)
    assert night.reason.value == pytest.approx(30)


def test_every_verdict_has_a_reason() -> None:
    """The gravest reason is the verdict that plans see."""
    rng = np.random.default_rng(8)
    for trial in range(200):
        sky = weather(
            air_temperature_c=rng.normal(0, 6) + rng.normal(0, 3, 96),
            wind_speed_of_gust_ms=rng.gamma(3, 2, 96),
            precipitation_amount_mm=np.where(rng.random(96) < 0.1, 2.0, 0.0),
        )
        work = ("lay_block", "place_grout", "lower_house", "seal_joints", "place_footing")[
            trial % 5
        ]
        asked = Asked(work, {"task.grouted": bool(trial % 2)}, frozenset({"insulating_blankets"}))
        start = int(rng.integers(0, 40))
        told = explain(BOOK, asked, sky, start, start + 5)
        gravest = max(r.verdict for r in told if not r.ask_on_site)
        assert gravest == start_and_work_verdicts(BOOK, asked, sky, 5)[start], (work, start)
