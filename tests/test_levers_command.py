"""``closein levers`` on the made job: alone, two by two, and what must hold between them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from scheduler.cli import main
from tests.demo_job import DEMO, demo_job

COMMON = ["--weather", str(DEMO / "forecast.json"), "--climate", str(DEMO / "climate.csv")]
AT = ["--at", "2026-11-09T06:00"]


def test_levers_alone_and_two_by_two(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = demo_job(tmp_path)
    found = {}
    for pairs in ("0", "2"):
        assert main(["levers", str(job), *COMMON, *AT, "--pairs", pairs, "--json"]) == 0
        found[pairs] = json.loads(capsys.readouterr().out)
    alone = {row["what"]: row for row in found["0"]["levers"]}
    with_pairs = {row["what"]: row for row in found["2"]["levers"]}
    assert alone.keys() <= with_pairs.keys()
    together = with_pairs.keys() - alone.keys()
    assert len(together) == 1
    (pair,) = together
    one, other = pair.split(", and ")
    assert {one, other} <= alone.keys()
    best = max(alone[one]["chance_gain"], alone[other]["chance_gain"])
    assert with_pairs[pair]["chance_gain"] >= best - 0.03  # the draw of 144 scenarios
    gains = [(row["chance_gain"], row["days_gained"]) for row in found["2"]["levers"]]
    assert gains == sorted(gains, reverse=True)


def test_without_past_years_no_lever_is_tried(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["levers", str(demo_job(tmp_path)), *COMMON[:2], *AT]) == 0
    assert "give --climate FILE" in capsys.readouterr().out
