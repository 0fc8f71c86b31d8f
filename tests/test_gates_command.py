"""All eight gates of one job through the public command, worked by hand from a logger's hours.

The wall and the footing stand at 10 °C for 168 h: 84 h at 20 °C by Nurse-Saul from 0 °C (ASTM
C1074). EN 1992-1-1 3.1.2(6) with s = 0.38 asks 672 / (1 − ln(share) / 0.38)² hours at 20 °C:
31.6 h for 3.5 of 13.79 MPa, 24.9 h for 3.5 of 17.24 MPa, 84.3 h for 50 %, 178.8 h for 70 %.
"""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from scheduler.cli import main
from tests.demo_job import DEMO

NOW = datetime(2026, 11, 9, 6, tzinfo=ZoneInfo("America/New_York"))
PLACED = NOW - timedelta(hours=168)
COMMON = ["--weather", str(DEMO / "forecast.json"), "--climate", str(DEMO / "climate.csv")]
AT = ["--at", "2026-11-09T06:00"]
DONE = "state: done, finished: 2026-11-02T06:00"
GATES = {  # by the task that waits: its work type and what it waits for
    "block": ("lay_block", "footing", "take_block"),
    "fill": ("place_grout", "courses", "grout_masonry"),
    "frame": ("framing", "wall", "uniform_load"),
    "shore": ("framing", "wall", "concentrated_load"),
    "lower": ("lower_house", "wall", "lower_house"),
    "anchors": ("set_sill", "wall", "tighten_anchors"),
    "strip": ("strip_protection", "wall", "blankets_off"),
    "earth": ("backfill", "wall", "backfill"),
}


def job_file(folder: Path, *, lower: str = "purpose: lower_house") -> Path:
    tasks = [
        f"{{id: {name}, name: {name}, work_type: {kind}, duration_h: 4, place: {place}, {DONE}}}"
        for name, kind, place in (
            ("footing", "place_footing", "south"),
            ("courses", "lay_block", "west"),
            ("wall", "place_grout", "north"),
        )
    ]
    for name, (kind, after, purpose) in GATES.items():
        gate = lower if name == "lower" else f"purpose: {purpose}"
        closes = ", closes: [floor]" if name == "lower" else ""
        tasks.append(
            f"{{id: {name}, name: {name}, work_type: {kind}, duration_h: 4, "
            f"after: [{{task: {after}, gate: {{{gate}}}}}]{closes}}}"
        )
    text = (DEMO / "job.yaml").read_text(encoding="utf-8")
    head, rest = text.split("tasks:\n", 1)
    exposure = rest[rest.index("exposure:") : rest.index("costs:")]
    path = folder / "job.yaml"
    listed = "".join(f"  - {task}\n" for task in tasks)
    path.write_text(f"{head}tasks:\n{listed}{exposure}", encoding="utf-8")
    return path


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict[str, Any]:
    code = main([*map(str, arguments), "--json"])
    out, err = capsys.readouterr()
    assert code == 0, err
    found: dict[str, Any] = json.loads(out)
    return found


def logged(job: Path, fahrenheit: float, capsys: pytest.CaptureFixture[str]) -> None:
    file = job.parent / "logger.csv"
    rows = [f"{PLACED + timedelta(hours=h):%Y-%m-%d %H:%M};{fahrenheit}" for h in range(168)]
    file.write_text("\n".join(["Time;Probe (F)", *rows, ""]), encoding="utf-8")
    for task, place in (("wall", "north"), ("footing", "south")):
        told = ["--temps", file, "--task", task, "--place", place, "--logger-clock", "standard"]
        run(capsys, "log", job, *told, "--no-plan", *AT)


def opened(job: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, datetime | None]:
    plan = run(capsys, "plan", job, *COMMON, *AT)["plan"]
    return {
        gate["purpose"]: None if gate["opens"] is None else datetime.fromisoformat(gate["opens"])
        for gate in plan["gates"]
    }


def test_eight_gates_by_hand(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = job_file(tmp_path)
    logged(job, 50.0, capsys)
    gate = opened(job, capsys)
    assert set(gate) == {purpose for _, _, purpose in GATES.values()}
    for name in ("take_block", "grout_masonry", "uniform_load", "blankets_off"):
        assert gate[name] == NOW, name
    half = gate["concentrated_load"]
    assert half is not None
    assert NOW <= half <= NOW + timedelta(hours=3)  # 0.3 h at 20 °C are still to come
    assert gate["tighten_anchors"] == half  # seven days are over with this hour
    full = gate["lower_house"]
    assert full is not None
    assert full >= NOW + timedelta(hours=94.8)  # no hour of this autumn is warmer than 20 °C
    assert gate["backfill"] == full


def test_a_colder_wall_never_opens_a_gate_earlier(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = []
    for number, fahrenheit in enumerate((41.0, 50.0, 59.0)):
        folder = tmp_path / str(number)
        folder.mkdir()
        job = job_file(folder)
        logged(job, fahrenheit, capsys)
        found.append(opened(job, capsys))
    season_end = NOW + timedelta(days=400)
    for cold, warm in pairwise(found):
        assert all((cold[name] or season_end) >= (warm[name] or season_end) for name in warm)


def test_the_engineers_degree_hours_open_the_way_down(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """168 h at 10 °C are 1680 °C·h over 0 °C; 3024 °F·h over 32 °F are as many."""
    for number, (bound, unit, datum) in enumerate(((1680, "degC_h", 0), (3024, "degF_h", 32))):
        folder = tmp_path / str(number)
        folder.mkdir()
        own = (
            f"purpose: lower_house, allowed_by: R. Ames, criterion: {{quantity: "
            f"temperature_time_factor, at_least: {bound}, unit: {unit}, datum: {datum}}}"
        )
        job = job_file(folder, lower=own)
        logged(job, 50.0, capsys)
        assert opened(job, capsys)["lower_house"] == NOW


def test_today_waits_for_the_gate_and_says_when(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = job_file(tmp_path)
    logged(job, 50.0, capsys)
    answers = {a["task"]: a for a in run(capsys, "today", job, *COMMON, *AT)["tasks"]}
    lower = answers["lower"]
    assert lower["call"] == "wait"
    limit = next(line for line in lower["limits"] if line["rule"] == "gate:lower_house")
    assert limit["outcome"] in {"no_go", "not_known"}
    assert "gate:uniform_load" not in {
        line["rule"] for line in answers["frame"]["limits"] if line["outcome"] != "go"
    }


def test_a_wall_read_frozen_is_held_for_the_engineer_and_nothing_is_planned_on_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = job_file(tmp_path)
    frozen = ["--reading", "masonry_temperature", "24", "degF", "--place", "north"]
    run(capsys, "log", job, *frozen, "--when", "2026-11-02T14:00", "--no-plan", *AT)
    answers = {a["task"]: a for a in run(capsys, "today", job, *COMMON, *AT)["tasks"]}
    for name in ("frame", "shore", "lower", "anchors", "earth"):
        assert answers[name]["call"] in {"hold", "wait"}, name
        assert {"engineer"} <= {hold["by"] for hold in answers[name]["holds"]}, name
    plan = run(capsys, "plan", job, *COMMON, *AT)["plan"]
    assert plan["status"] == "infeasible"
    assert any("froze before it could resist" in note for note in plan["notes"])
    assert next(line for line in plan["fresh"] if line["task"] == "wall")["froze"]
    for name in ("frame", "shore", "lower", "anchors", "strip", "earth"):
        given = ["--release", name, "engineer", "--who", "R. Ames", "--no-plan"]
        run(capsys, "log", job, *given, *AT)
    plan = run(capsys, "plan", job, *COMMON, *AT)["plan"]
    assert plan["status"] != "infeasible"


@pytest.mark.parametrize(
    ("gate", "said"),
    [
        ("wait_h: 3", "gate.share"),
        ("share: 0.5, allowed_by: R. Ames", "allowed_by"),
        (
            "share: 0.5, criterion: {quantity: grout_strength, at_least: 1500, unit: psi}",
            "temperature_time_factor with at_least",
        ),
    ],
)
def test_a_gate_that_asks_nothing_that_can_be_told_is_one_line(
    gate: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = job_file(tmp_path, lower=gate)
    code = main(["check", str(job)])
    _, err = capsys.readouterr()
    assert code == 2
    assert len(err.splitlines()) == 1
    assert said in err
