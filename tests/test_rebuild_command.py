"""A rebuild by the public command: what moves and why, whom to call by when, and what does not."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from scheduler.cli import main
from tests.demo_job import DEMO, demo_job

NOW = datetime(2026, 11, 9, 6, tzinfo=ZoneInfo("America/New_York"))
COMMON = ["--weather", str(DEMO / "forecast.json"), "--climate", str(DEMO / "climate.csv")]
AT = ["--at", "2026-11-09T06:00"]
RAIN = ["--lost", "9", "--cause", "rain"]


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict[str, Any]:
    assert main([*map(str, arguments), "--json"]) == 0, capsys.readouterr().err
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def plan(job: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, str]:
    return starts(run(capsys, "plan", job, *COMMON, *AT))


def log(job: Path, capsys: pytest.CaptureFixture[str], *told: str) -> dict[str, Any]:
    return run(capsys, "log", job, *told, *COMMON, *AT)


def starts(document: dict[str, Any]) -> dict[str, str]:
    return {line["id"]: line["start"] for line in document["plan"]["tasks"] if not line["done"]}


def test_no_change_in_no_change_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = demo_job(tmp_path)
    first = plan(job, capsys)
    noted = log(job, capsys, "--note", "looked at the cribs")
    assert (noted["moved"], noted["calls"]) == ([], [])
    assert len(noted["stays"]) == len(first)
    assert noted["margin_days"]["was"] == noted["margin_days"]["is"]
    assert noted["chance"]["was"] == noted["chance"]["is"]
    assert starts(noted) == first
    assert plan(job, capsys) == first


def test_a_lost_day_moves_what_it_must_and_says_whom_to_call_by_when(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Monday rains away: dowels and blocks, grout and sill move; neither the lifter nor more."""
    monkeypatch.setenv("CLOSEIN_SCENARIOS", "600")
    job = demo_job(tmp_path)
    first = plan(job, capsys)
    lost = log(job, capsys, *RAIN)
    moved = {row["task"]: row for row in lost["moved"]}
    assert set(moved) == {"dowels", "lay", "grout", "sill"}
    assert {row["why"] for row in (moved["dowels"], moved["lay"])} == {"rain"}
    assert moved["grout"]["why"] == "after Lay three courses"
    for task, row in moved.items():
        assert row["was"] == first[task]
        assert datetime.fromisoformat(row["is"]) >= NOW + timedelta(days=1)
    after = starts(lost)
    assert {task for task in first if after[task] != first[task]} == set(moved)
    calls = {(call["who"], call["task"]): call for call in lost["calls"]}
    assert set(calls) == {
        ("Block crew", "lay"), ("Carpenters", "dowels"), ("grout_supplier", "grout"),
    }  # fmt: skip
    grout = calls["grout_supplier", "grout"]
    was, is_ = (datetime.fromisoformat(moved["grout"][key]) for key in ("was", "is"))
    assert datetime.fromisoformat(grout["by"]) == was - timedelta(hours=12)
    assert f"{was:%a %-d %b %H:%M} to {is_:%a %-d %b %H:%M}" in grout["text"]
    assert datetime.fromisoformat(calls["Block crew", "lay"]["by"]) == NOW  # they come at seven
    lower = next(line for line in lost["plan"]["tasks"] if line["id"] == "lower")
    assert lower["kept"] is True
    assert plan(job, capsys) == after  # the plan says what the log said


def test_an_appointment_that_cannot_be_kept_is_asked_for_anew_before_its_free_move_ends(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Laying takes 80 h more: the lifter's next slot is asked for, in words ready to send."""
    job = demo_job(tmp_path)
    plan(job, capsys)
    found = log(job, capsys, "--hours-left", "lay", "80")
    moved = {row["task"]: row for row in found["moved"]}
    assert moved["lay"]["why"] == "80 h left to do"
    assert moved["lay"]["is"] == moved["lay"]["was"]  # it goes on today, and ends later
    assert moved["lay"]["until"] > moved["lay"]["until_was"]
    assert moved["lower"]["kept"] is False
    assert moved["lower"]["is"] in {"2026-12-03T07:00-05:00", "2026-12-07T07:00-05:00"}
    (call,) = (call for call in found["calls"] if call["task"] == "lower")
    assert call["who"] == "house_lifter"
    assert call["by"] == "2026-11-25T12:00-05:00"  # free until then, before the 48 h of notice
    new = datetime.fromisoformat(moved["lower"]["is"])
    assert "Lower the house cannot be Mon 30 Nov 07:00" in call["text"]
    assert f"can you come {new:%a %-d %b %H:%M}?" in call["text"]
    assert "Please answer by Wed 25 Nov 12:00" in call["text"]


def test_a_wrong_entry_is_undone_by_a_new_one_and_the_plan_is_as_it_was(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = demo_job(tmp_path)
    first = plan(job, capsys)
    wrong = log(job, capsys, *RAIN)
    number = wrong["entries"][0]["seq"]
    back = log(job, capsys, "--undo", str(number))
    assert back["entries"][0]["seq"] == number + 1  # nothing is taken out of the log
    assert starts(back) == first
    assert {row["task"] for row in back["moved"]} == {row["task"] for row in wrong["moved"]}
    assert {call["who"] for call in back["calls"]} == {call["who"] for call in wrong["calls"]}
    assert plan(job, capsys) == first


def test_the_plan_told_last_is_kept_for_a_moment_asked_about(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What was told later does not exist for an earlier moment."""
    job = demo_job(tmp_path)
    first = plan(job, capsys)
    later = ["--at", "2026-11-09T06:30"]
    run(capsys, "log", job, *RAIN, *COMMON, *later)
    assert plan(job, capsys) == first
