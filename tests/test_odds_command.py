"""``closein odds`` on the made season: counted again from the past years by hand."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from scheduler.cli import main
from tests.demo_job import DEMO, demo_job

COMMON = ["--weather", str(DEMO / "forecast.json"), "--climate", str(DEMO / "climate.csv")]
AT = ["--at", "2026-11-09T06:00"]


@pytest.fixture(scope="module")
def odds(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    import contextlib
    import io

    out = io.StringIO()
    job = demo_job(tmp_path_factory.mktemp("odds"))
    with contextlib.redirect_stdout(out):
        assert main([str(a) for a in ("odds", job, *COMMON, *AT, "--json")]) == 0
    found: dict[str, Any] = json.loads(out.getvalue())["odds"]
    return found


def dry_share(month: int, day: int) -> float:
    """Return the share of the record's years in which a day stayed under 0.01 in. of rain."""
    with (DEMO / "climate.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    on = [row for row in rows if row["date"].endswith(f"-{month:02}-{day:02}")]
    return float(np.mean([float(row["precipitation_amount_mm"]) < 0.254 for row in on]))


def test_freezes_come_in_order_and_colder_ones_later(odds: dict[str, Any]) -> None:
    for row in odds["freezes"]:
        told = [day or "9999" for day in (row["days"][p] for p in ("10", "50", "90"))]
        assert told == sorted(told)
        shares = [share for _, share in row["by_week"] if share is not None]
        assert shares == sorted(shares)
    middle = [row["days"]["50"] or "9999" for row in odds["freezes"]]
    assert middle == sorted(middle)


def test_past_the_forecast_dry_days_are_as_often_as_in_the_record(odds: dict[str, Any]) -> None:
    single = dict(odds["dry"][0]["from_day"])
    for day in (18, 20, 22):
        assert single[f"2026-11-{day}"] == pytest.approx(dry_share(11, day), abs=0.03)


def test_hours_left_rise_with_the_percent_and_windows_are_shares(odds: dict[str, Any]) -> None:
    assert odds["windows"]
    for row in odds["left"]:
        hours = [row["hours"][p] for p in ("10", "50", "90") if row["hours"]]
        assert hours == sorted(hours)
        assert bool(hours) != bool(row["not_known"])
    for row in odds["windows"]:
        assert row["not_known"] if row["chance"] is None else 0.0 <= row["chance"] <= 1.0
    chance = {row["task"]: row["chance"] for row in odds["windows"]}
    assert chance["dowels"] > 0.9  # this morning, on no weather


def test_a_run_of_dry_days_is_no_likelier_than_a_shorter_one(odds: dict[str, Any]) -> None:
    one, two, three = ([share for _, share in row["from_day"]] for row in odds["dry"])
    assert all(a >= b >= c for a, b, c in zip(one, two, three, strict=True))


def test_without_past_years_there_are_no_odds(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([str(a) for a in ("odds", demo_job(tmp_path), *COMMON[:2], *AT)]) == 2
    assert "give --climate FILE" in capsys.readouterr().err


def test_how_often_a_limit_in_hours_after_is_broken(
    odds: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What fits within a day fits more often than what must follow at once."""
    assert odds["limits"] == []  # the job has none
    job = demo_job(tmp_path)
    text = job.read_text(encoding="utf-8")
    for was, now in (
        ("after: [windows]", "after: [{task: windows, within_h: 24}]"),
        ("after: [flash]", "after: [{task: flash, within_h: 0}]"),
        ("after: [cut]", "after: [{task: cut, within_h: 2000}]"),  # which is done
    ):
        assert was in text
        text = text.replace(was, now)
    job.write_text(text, encoding="utf-8")
    assert main([str(a) for a in ("odds", job, *COMMON, *AT, "--json")]) == 0
    told = json.loads(capsys.readouterr().out)["odds"]["limits"]
    broken = {(row["task"], row["after"]): row["broken"] for row in told}
    assert list(broken.values()) == sorted(broken.values(), reverse=True)
    assert 0.0 < broken["flash", "windows"] < broken["seal", "flash"] < 1.0, broken
    assert [broken[task, "cut"] for task in ("dowels", "lay") if (task, "cut") in broken]
    assert all(share == 0.0 for (_, after), share in broken.items() if after == "cut")
    assert main([str(a) for a in ("odds", job, *COMMON, *AT)]) == 0
    assert "0 h after Stick the flashing" in capsys.readouterr().out
