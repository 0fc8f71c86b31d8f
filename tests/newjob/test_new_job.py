"""Jobs made from numbers: each is valid and plans, or is refused with one clear line a fault."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import scheduler.jobfile
from rules.gates import gates
from scheduler.cli import main
from tests.mild_weather import mild_forecast, mild_years

START = "2026-09-14"
SEASON = ["--start", START, "--season-end", "2027-03-31"]
KINDS = ("raised_house", "stem_wall", "repair", "addition")

# name: options; each gives a job that plans
SOUND = {
    "as it comes": [],
    "tiny": ["--runs", "8 ft, 6 ft, 8 ft, 6 ft", "--courses", "1", "--beams", "1", "--jacks", "2",
             "--windows", "1", "--doors", "0", "--openings-cut", "0", "--openings-filled", "0"],
    "huge": ["--runs", "120 ft, 60 ft, 120 ft, 60 ft", "--courses", "6", "--masons", "12",
             "--carpenters", "8", "--lifters", "12", "--jacks", "30", "--beams", "8",
             "--windows", "24", "--doors", "4", "--diggers", "6", "--raise-height", "60 in"],
    "metric": ["--units", "si", "--runs", "12.5; 8; 12.5; 8", "--courses", "4"],
    "odd spacings": ["--core-spacing", "27 in", "--anchor-spacing", "4 ft 7 in", "--step", "13"],
    "zero openings": ["--windows", "0", "--doors", "0", "--openings-cut", "0",
                      "--openings-filled", "0"],
    "new footing": ["--footing", "new", "--bond-beam", "no", "--bar", "4"],
    "perimeter alone": ["--perimeter", "120 ft", "--block", "12x8x16"],
    "in the cold": ["--work-temperature", "20 F", "--masons", "6"],
    "quotes in the name": ["--name", 'Ann\'s "north" end: part #2', "--place", "yes"],
}  # fmt: skip
IMPOSSIBLE = {
    "no jacks to a beam": (["--beams", "9"], "--jacks is 8; 9 beams need 18"),
    "step under a timber": (["--step", "4 in"], "--step is 4 in; the cribbing rises by timbers"),
    "raised too little": (["--raise-height", "8 in"], "3 courses need 24 in"),
    "a wall of nothing": (["--runs", "0 ft"], "--runs is '0 ft'; want 0.9843 ft to"),
    "wide windows": (["--windows", "100"], "the wall is 1440 in long"),
    "no number": (["--courses", "three"], "--courses is 'three'; want a whole number"),
    "no such block": (["--block", "8x8x18"], "want one of 6x8x16"),
    "season before start": (["--season-end", "2026-01-01"], "want a day after the start"),
    "two lengths": (["--runs", "10 ft, 10 ft", "--perimeter", "90 ft"], "give one of them"),
    "another kind's question": (["--repair-area", "9 ft2"], "--repair-area is not asked"),
    "no such zone": (["--time-zone", "Mars/North"], "want a name such as Europe/Oslo"),
}


def made(tmp_path: Path, *options: str) -> Path:
    path = tmp_path / "job.yaml"
    given = list(options)
    for name, value in zip(SEASON[::2], SEASON[1::2], strict=True):
        if name not in given:
            given += [name, value]
    assert main(["new", "--defaults", "--out", str(path), *given]) == 0
    return path


def plan_of(path: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, object]:
    weather = mild_forecast(path.parent, f"{START}T00:00-04:00")
    capsys.readouterr()
    asked = ["--weather", str(weather), "--at", f"{START}T06:00", "--store", ":memory:", "--json"]
    assert main(["plan", str(path), *asked, "--climate", str(mild_years(path.parent))]) == 0
    plan: dict[str, object] = json.loads(capsys.readouterr().out)["plan"]
    return plan


@pytest.mark.parametrize("name", SOUND)
def test_a_sound_set_of_numbers_gives_a_job_without_orphans(tmp_path: Path, name: str) -> None:
    job = scheduler.jobfile.read(made(tmp_path, *SOUND[name]))
    followed = {link.task for task in job.tasks for link in task.after}
    orphans = [t.id for t in job.tasks if not t.after and t.id not in followed]
    assert not orphans
    assert [t.id for t in job.tasks if not t.after] == ["permit"]
    shift_h = 9.0
    assert all(t.duration_h <= shift_h or t.may_pause for t in job.tasks)


@pytest.mark.parametrize("name", SOUND)
def test_what_is_opened_is_closed_again(tmp_path: Path, name: str) -> None:
    """A part that no task closes would stand open for good, and no date could be kept."""
    job = scheduler.jobfile.read(made(tmp_path, *SOUND[name]))
    opened = {part for task in job.tasks for part in task.opens}
    assert opened <= {part for task in job.tasks for part in task.closes}


def test_gates_are_those_of_the_rule_book(tmp_path: Path) -> None:
    """UFGS 04200's three days and the common 70 % stand in the book, and nowhere else."""
    job = scheduler.jobfile.read(made(tmp_path, "--footing", "new"))
    found = {
        link.gate.purpose: link.gate
        for task in job.tasks
        for link in task.after
        if link.gate is not None
    }
    assert {"take_block", "uniform_load", "lower_house", "tighten_anchors", "backfill"} <= set(
        found
    )
    for purpose, gate in found.items():
        assert gate.wait_h == gates()[purpose].wait_h
        assert gate.share >= gates()[purpose].share


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("units", ["us", "si"])
def test_every_kind_of_job_plans(
    tmp_path: Path, kind: str, units: str, capsys: pytest.CaptureFixture[str]
) -> None:
    if units == "si" and kind != "raised_house":
        scheduler.jobfile.read(made(tmp_path, "--kind", kind, "--units", units))
        return
    plan = plan_of(made(tmp_path, "--kind", kind, "--units", units), capsys)
    assert plan["status"] in {"proven", "found"}
    assert plan["close_in"]


@pytest.mark.parametrize("name", ["tiny", "huge", "zero openings", "new footing"])
def test_a_sound_set_of_numbers_plans(
    tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = plan_of(made(tmp_path, *SOUND[name]), capsys)
    assert plan["status"] in {"proven", "found"}


@pytest.mark.parametrize("name", IMPOSSIBLE)
def test_an_impossible_set_gives_one_clear_line_and_no_file(
    tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    options, told = IMPOSSIBLE[name]
    path = tmp_path / "job.yaml"
    assert main(["new", "--defaults", "--out", str(path), "--start", START, *options]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 1, lines
    assert told in lines[0]
    assert not path.exists()


STRUCTURAL = {
    "raise_house", "lower_house", "demolish_openings", "open_ground", "place_footing",
    "place_grout", "fill_top_course", "infill_pockets", "backfill", "set_dowels", "utilities",
}  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_every_structural_step_has_its_hold_and_its_caution(
    tmp_path: Path, kind: str, capsys: pytest.CaptureFixture[str]
) -> None:
    path = made(
        tmp_path, "--kind", kind, *(["--footing", "new"] if kind == "raised_house" else [])
    )
    weather = mild_forecast(tmp_path, f"{START}T00:00-04:00")
    capsys.readouterr()
    asked = ["--weather", str(weather), "--at", f"{START}T06:00", "--store", ":memory:", "--json"]
    assert main(["today", str(path), *asked]) == 0
    answers = {a["task"]: a for a in json.loads(capsys.readouterr().out)["tasks"]}
    for task in scheduler.jobfile.read(path).tasks:
        if task.work_type in STRUCTURAL:
            assert task.holds, task.id
            assert answers[task.id]["cautions"], task.id
    first = answers["permit"]
    assert first["call"] == "hold"
    assert any("permit" in hold["needs"] or "stay up" in hold["needs"] for hold in first["holds"])


def test_asked_one_by_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A wrong answer is asked again; an empty one takes the default."""
    answers = iter(["raised_house", "us", "Our own", "Home", "45.1", "-73.2", "wide", "300 ft"])
    monkeypatch.setattr("typer.prompt", lambda _, default="", **__: next(answers, default))
    path = tmp_path / "asked.yaml"
    assert main(["new", "--out", str(path), "--start", START]) == 0
    assert "want a length" in capsys.readouterr().err
    job = scheduler.jobfile.read(path)
    assert job.name == "Our own"
    assert job.site.elevation_m == pytest.approx(91.44, abs=0.1)


def test_a_file_is_not_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = made(tmp_path)
    before = path.read_bytes()
    assert main(["new", "--defaults", "--out", str(path)]) == 2
    assert "is there already" in capsys.readouterr().err
    assert path.read_bytes() == before


def test_amounts_are_counted_again_from_the_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, table = made(tmp_path), tmp_path / "amounts.csv"
    capsys.readouterr()
    assert main(["amounts", str(path), "--csv", str(table), "--json"]) == 0
    lines = {line["key"]: line for line in json.loads(capsys.readouterr().out)["lines"]}
    assert lines["units"]["net"] == 270  # 120 ft at three quarters a foot, three courses
    assert lines["grout"]["order_unit"] == "yd3"
    assert all(line["source"] for line in lines.values())
    assert lines["beam_grout"]["for_task"] == "top"
    text = table.read_text(encoding="utf-8")
    assert text.splitlines()[0].startswith("What,Net,To order")
    job = scheduler.jobfile.read(path)
    ordered = {order.what: order.amount for order in job.orders}
    assert ordered["units 8x8x16, whole"] == lines["units"]["order"]


def test_courses_run_by_run_and_the_lift_step_by_step(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By hand: 36 ft is 27 units, 24 ft 18; 26 in. in steps of 16: two, 64 timbers at the end."""
    path = made(tmp_path)
    capsys.readouterr()
    assert main(["amounts", str(path), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [run["whole"] for run in document["wall"]["runs"]] == [27, 18, 27, 18]
    assert [step["timbers"] for step in document["steps"]] == [32, 64]
    assert main(["amounts", str(path)]) == 0
    out = capsys.readouterr().out
    assert "run by run" in out
    assert "cribbing after each step" in out


def test_a_mason_s_own_rate_is_taken(tmp_path: Path) -> None:
    """By hand: 270 units at 9 an hour and person, 3 people, 4 % slower at 40 F: 10.5 h."""
    job = scheduler.jobfile.read(made(tmp_path, "--units-per-hour", "9"))
    assert job.task("lay").duration_h == pytest.approx(10.5, abs=0.01)
