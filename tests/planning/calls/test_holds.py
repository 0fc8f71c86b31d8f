"""A hold stands until a person of its role releases it by name; the service never does."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from scheduler.cli import main
from tests.demo_job import DEMO, demo_job

AT = "2026-11-09T06:00"
HOLD = "    holds: [{by: [engineer, inspector], needs: the drawn dowel layout}]\n"
DOWELS = "    name: Drill and set dowels\n"


@pytest.fixture
def job(tmp_path: Path) -> Path:
    path = demo_job(tmp_path)
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace(DOWELS, DOWELS + HOLD), encoding="utf-8")
    return path


def call_of(
    job: Path, capsys: pytest.CaptureFixture[str], task: str = "dowels"
) -> dict[str, object]:
    weather = str(DEMO / "forecast.json")
    assert main(["today", str(job), "--weather", weather, "--at", AT, "--json"]) == 0
    answers = json.loads(capsys.readouterr().out)["tasks"]
    return next(answer for answer in answers if answer["task"] == task)


def release(job: Path, role: str, *, who: str | None = "A. Ryd", task: str = "dowels") -> int:
    named = ["--who", who] if who else []
    told = ["--when", "2026-11-08T17:00", "--at", AT, "--no-plan"]
    return main(["log", str(job), "--release", task, role, *named, *told])


def test_a_hold_of_the_job_names_who_and_what_they_need_to_see(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    answer = call_of(job, capsys)
    assert answer["call"] == "hold"
    held = {"by": "engineer", "needs": "the drawn dowel layout", "row": ""}
    assert held in answer["holds"]


@pytest.mark.parametrize("role", ["engineer", "inspector"])
def test_any_of_its_roles_releases_it(
    job: Path, role: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert release(job, role) == 0
    capsys.readouterr()
    answer = call_of(job, capsys)
    assert answer["call"] in {"go", "go_with_protection"}
    assert not answer["holds"]


def test_another_role_or_task_does_not(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert release(job, "owner") == 2
    assert "engineer or inspector only" in capsys.readouterr().err
    assert release(job, "engineer", task="grout") == 0
    capsys.readouterr()
    assert call_of(job, capsys)["call"] == "hold"


def test_a_row_s_hold_is_released_by_its_own_roles_and_an_unknown_row_by_nobody(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Ice on cribs is the house lifter's to look at, whoever else may release the lowering."""
    told = ["--who", "B. Ek", "--at", AT, "--no-plan", "--row"]
    lower = ["log", str(job), "--release", "lower"]
    assert main([*lower, "owner", *told, "cribs.ice"]) == 2
    assert "house_lifter" in capsys.readouterr().err
    assert main([*lower, "house_lifter", *told, "cribs.ise"]) == 2
    assert "cribs.ice" in capsys.readouterr().err
    assert main([*lower, "house_lifter", *told, "cribs.ice"]) == 0


def test_a_release_without_a_name_is_refused(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert release(job, "engineer", who=None) == 2
    assert "who" in capsys.readouterr().err
    assert call_of(job, capsys)["call"] == "hold"


def test_an_undone_release_counts_no_more(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert release(job, "engineer") == 0
    assert main(["log", str(job), "--undo", "1", "--at", AT, "--no-plan"]) == 0
    capsys.readouterr()
    assert call_of(job, capsys)["call"] == "hold"


@pytest.mark.parametrize(
    ("when", "call"), [("2026-11-09T05:30", "released"), ("2026-11-07T17:00", "hold")]
)
def test_a_rule_s_hold_is_lifted_for_a_day_only(
    job: Path, when: str, call: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Ice on the cribs holds a lowering; who looked at it this morning may release it."""
    ice = ["--fact", "cribs", "ice_on_top", "yes", "--when", "2026-11-07T07:00"]
    assert main(["log", str(job), *ice, "--at", AT, "--no-plan"]) == 0
    told = ["--release", "lower", "house_lifter", "--who", "B. Ek", "--when", when]
    assert main(["log", str(job), *told, "--at", AT, "--no-plan"]) == 0
    capsys.readouterr()
    answer = call_of(job, capsys, "lower")
    held = any("clear of ice" in str(hold["needs"]) for hold in answer["holds"])
    assert held == (call == "hold")
