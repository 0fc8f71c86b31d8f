"""Scores against worked figures, and mornings replayed on a made and on a real record."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from scheduler.cli import main
from scheduler.planning.reports.skill import GO_FROM, reliability_of, skill_of
from tests.demo_job import DEMO, demo_job
from tests.recorded_data import recorded


def score(fit: list[int], go: list[int], chance: list[float]) -> object:
    return skill_of(
        "t", "lay_block", "odds", 1,
        fit=np.array(fit, bool), go=np.array(go, bool), chance=np.array(chance),
    )  # fmt: skip


def test_the_brier_score_by_hand() -> None:
    """Brier 1950, one class: (0.49 + 0.01 + 0.04 + 0.16 + 0.64 + 0.01) / 10 = 0.135."""
    chance = [0.7, 0.9, 0.8, 0.4, 0.2, 0.0, 0.0, 0.0, 0.0, 0.1]
    rain = [0, 1, 1, 0, 1, 0, 0, 0, 0, 0]
    assert score(rain, rain, chance).brier == pytest.approx(0.135)  # type: ignore[attr-defined]


def test_hits_false_goes_and_cost_by_hand() -> None:
    """Ten mornings: 6 fit, 4 of them called go, 1 go wrong: cost (10 + 2) / 10."""
    found = score([1] * 6 + [0] * 4, [1, 1, 1, 1, 0, 0, 1, 0, 0, 0], [0.5] * 10)
    assert (found.fit, found.hit, found.false_go) == (0.6, 4 / 6, 0.2)  # type: ignore[attr-defined]
    assert found.cost == pytest.approx(1.2)  # type: ignore[attr-defined]
    assert found.cost_always_wait == 0.6  # type: ignore[attr-defined]
    assert found.cost_always_go == 4.0  # type: ignore[attr-defined]


@given(st.integers(0, 2**32 - 1), st.floats(0.05, 0.95))
def test_going_from_ten_in_eleven_costs_least_where_chances_are_true(
    seed: int, centre: float
) -> None:
    """Cost-loss theory (Murphy 1977): the best bound is loss / (loss + gain)."""
    rng = np.random.default_rng(seed)
    chance = np.clip(rng.normal(centre, 0.3, 4000), 0.0, 1.0)
    expected = {
        bound: float(np.where(chance >= bound, 10.0 * (1.0 - chance), chance).mean())
        for bound in (0.5, 0.8, GO_FROM, 0.97, 1.01)
    }
    assert min(expected, key=lambda bound: expected[bound]) == GO_FROM


@given(arrays(np.float64, 200, elements=st.floats(0, 1)), st.integers(0, 2**32 - 1))
def test_the_tenths_hold_every_morning_and_the_brier_score_falls_apart_into_them(
    chance: np.ndarray, seed: int
) -> None:
    """Murphy 1973: reliability - resolution + uncertainty, exact for chances equal in a tenth."""
    tenth = np.minimum((chance * 10).astype(int), 9) / 10 + 0.05
    fit = np.random.default_rng(seed).random(200) < tenth
    bins = reliability_of(tenth, fit)
    assert sum(one.mornings for one in bins) == 200
    base = fit.mean()
    rel = sum(b.mornings * (b.stated - b.came) ** 2 for b in bins if b.mornings) / 200  # type: ignore[operator]
    res = sum(b.mornings * (b.came - base) ** 2 for b in bins if b.mornings) / 200  # type: ignore[operator]
    brier = ((tenth - fit) ** 2).mean()
    assert rel - res + base * (1 - base) == pytest.approx(brier, abs=1e-9)


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict[str, object]:
    assert main([str(a) for a in (*arguments, "--json")]) == 0
    return json.loads(capsys.readouterr().out)["skill"]  # type: ignore[no-any-return]


def test_a_perfect_forecast_is_never_wrong_and_errors_cost(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ["--climate", DEMO / "climate.csv", "--from", "11-01", "--until", "11-30"]
    found = run(capsys, "hindcast", demo_job(tmp_path), *asked, "--every", "7")
    rows = [row for row in found["rows"] if row["task"] == "lay"]  # type: ignore[index, union-attr]
    by_run = {name: [r for r in rows if r["run"] == name] for name in ("perfect", "noisy", "odds")}
    assert all(r["cost"] == 0.0 and r["brier"] == 0.0 for r in by_run["perfect"])
    assert max(r["cost"] for r in by_run["noisy"]) > 0.0
    wrong = {name: np.mean([r["false_go"] or 0.0 for r in by_run[name]]) for name in by_run}
    assert wrong["odds"] <= wrong["noisy"]  # going only from ten in eleven is the safer call


def test_a_real_autumn_is_replayed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Newark 2013, hourly: temperature, wind, gusts, rain, humidity."""
    rows = recorded("obs", "hourly-nyc3airports-2013.csv").read_text(encoding="utf-8").splitlines()
    newark = tmp_path / "newark.csv"
    newark.write_text("\n".join(r for r in rows if "origin" in r or "EWR" in r), encoding="utf-8")
    asked = ["--climate", newark, "--from", "10-01", "--until", "12-10", "--every", "4"]
    found = run(capsys, "hindcast", demo_job(tmp_path), *asked)
    assert int(found["mornings"]) >= 10  # type: ignore[call-overload]
    for row in found["rows"]:  # type: ignore[union-attr, attr-defined]
        assert 0.0 <= row["fit"] <= 1.0
        assert row["brier"] <= 1.0


def test_a_record_without_the_season_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ["--climate", DEMO / "climate.csv", "--from", "07-01", "--until", "13-40"]
    assert main([str(a) for a in ("hindcast", demo_job(tmp_path), *asked)]) == 2
    assert "10-01" in capsys.readouterr().err
