"""The whole command as a person runs it: exit codes, one line a fault, documented JSON."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from scheduler.cli import main
from tests.demo_job import DEMO, demo_job

AT = "2026-11-09T06:00"
WEATHER = str(DEMO / "forecast.json")
CLIMATE = str(DEMO / "climate.csv")


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return demo_job(tmp_path)


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    code = main([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    return code, out, err


def test_check_shows_every_task(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "check", job)
    assert (code, err) == (0, "")
    assert "Heron Ferry, north house" in out
    assert "house lifter" in out


def test_a_wrong_job_file_gives_a_line_a_fault_and_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = demo_job(tmp_path)
    text = path.read_text(encoding="utf-8")
    text = text.replace("work_type: lay_block", "work_type: lay_blok")
    text = text.replace("latitude: 44.31", "latitude: 144.31")
    path.write_text(text, encoding="utf-8")
    code, out, err = run(capsys, "check", path)
    lines = err.splitlines()
    assert (code, out, len(lines)) == (2, "", 2)
    assert "latitude" in lines[0]
    assert "lay_block" in lines[1]


def test_the_demo_shows_all_four_verdicts_a_protection_and_a_margin(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(capsys, "today", job, "--weather", WEATHER, "--at", AT, "--json")
    answer = json.loads(out)
    outcomes = {task["outcome"] for task in answer["tasks"]}
    assert code == 0
    assert outcomes == {"go", "go_with_protection", "no_go", "not_known"}
    assert any(task["measures"] for task in answer["tasks"])
    code, out, _ = run(
        capsys, "plan", job, "--weather", WEATHER, "--climate", CLIMATE, "--at", AT, "--json"
    )
    plan = json.loads(out)["plan"]
    assert plan["status"] == "proven"
    assert isinstance(plan["date"]["margin_days"], int)


def test_every_limit_that_binds_has_value_source_and_range(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, out, _ = run(capsys, "today", job, "--weather", WEATHER, "--at", AT, "--json")
    binding = [
        limit
        for task in json.loads(out)["tasks"]
        for limit in task["limits"]
        if limit["outcome"] != "go"
    ]
    assert binding
    for limit in binding:
        assert limit["source"], limit
        assert limit["value"] is not None or limit["outcome"] in {"not_known", "no_go"}


def test_a_lost_day_moves_tasks_and_says_the_margin(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    common = ("--weather", WEATHER, "--climate", CLIMATE, "--at", AT, "--json")
    code, out, err = run(capsys, "log", job, "--lost", 8, "--cause", "rain", *common)
    assert (code, err) == (0, "")
    logged = json.loads(out)
    assert [entry["kind"] for entry in logged["entries"]] == ["lost"]
    assert {row["task"] for row in logged["moved"]} >= {"dowels", "lay"}
    assert set(logged["margin_days"]) == {"was", "is"}


def test_a_lost_day_without_a_forecast_is_still_written_down(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(capsys, "log", job, "--lost", 8, "--cause", "rain", "--at", AT)
    assert code == 0
    assert "logged 1." in out
    assert "not replanned: no forecast" in out


def test_a_refused_entry_writes_nothing(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = run(capsys, "log", job, "--finished", "no_such_task", "--at", AT)
    assert code == 2
    assert "no_such_task" in err
    code, out, _ = run(capsys, "log", job, "--note", "dry", "--at", AT, "--no-plan")
    assert "logged 1." in out


def test_a_kept_plan_is_printed_again_byte_for_byte(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    common = ("--weather", WEATHER, "--climate", CLIMATE, "--at", AT, "--json")
    _, first, _ = run(capsys, "plan", job, *common)
    run(capsys, "log", job, "--started", "dowels", "--at", "2026-11-09T07:10", "--no-plan")
    _, again, _ = run(capsys, "kept", job, "--number", 1)
    assert again == first
    _, replayed, _ = run(capsys, "plan", job, *common)
    assert replayed == first


def test_a_morning_is_replayed_from_what_was_kept(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, first, _ = run(capsys, "today", job, "--weather", WEATHER, "--at", AT, "--json")
    _, again, _ = run(capsys, "today", job, "--at", AT, "--json")
    assert again == first


def test_no_forecast_is_exit_3(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "today", job, "--at", AT)
    assert (code, out) == (3, "")
    assert len(err.splitlines()) == 1


def test_no_network_is_exit_3(job: Path) -> None:
    """A closed port on this machine stands for a network that is not there."""
    done = _process(
        "today", str(job), CLOSEIN_NWS_URL="http://127.0.0.1:9", CLOSEIN_FETCH_BUDGET_S="2"
    )
    assert done.returncode == 3
    assert len(done.stderr.splitlines()) == 1
    assert "Traceback" not in done.stderr


def test_an_old_forecast_lets_nothing_go_that_hangs_on_weather(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    late = ("--weather", WEATHER, "--at", "2026-11-11T06:00", "--json")
    code, out, _ = run(capsys, "today", job, *late)
    assert code == 0
    calls = {task["task"]: task["call"] for task in json.loads(out)["tasks"]}
    assert calls.pop("dowels") == "go"  # drilling hangs on the hole, not on the sky
    assert not set(calls.values()) & {"go", "go_with_protection"}


def test_a_forecast_from_the_future_does_not_exist(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, _, err = run(capsys, "today", job, "--weather", WEATHER, "--at", "2026-11-08T06:00")
    assert code == 3
    assert "after the moment asked about" in err


def test_weather_as_csv_reads_back_to_itself(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, first, _ = run(capsys, "weather", job, "--weather", WEATHER, "--at", AT, "--format", "csv")
    table = tmp_path / "hours.csv"
    table.write_text(first, encoding="utf-8")
    _, again, _ = run(capsys, "weather", job, "--weather", table, "--at", AT, "--format", "csv")
    assert again == first
    assert first.startswith("time,air_temperature_c,")


def test_brief_writes_text_and_html(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(
        capsys, "brief", job, "--weather", WEATHER, "--climate", CLIMATE, "--at", AT, "--out",
        tmp_path / "out",
    )  # fmt: skip
    assert code == 0
    text = (tmp_path / "out" / "brief.txt").read_text(encoding="utf-8")
    page = (tmp_path / "out" / "brief.html").read_text(encoding="utf-8")
    subject = out.splitlines()[0]
    assert subject in text
    assert subject in page
    assert subject.startswith("Mon: 1 go, 1 with protection until Tue 16:00, 1 not known; ")
    assert "margin" in subject
    assert text.index("GO WITH PROTECTION: Lay three courses") < text.index("\nClose-in\n")
    assert "Local codes, the engineer of record and licensed trades decide." in text
    assert len(page.encode()) < 100_000


def test_names_in_a_job_cannot_write_html(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = job.read_text(encoding="utf-8")
    job.write_text(
        text.replace("name: Lay three courses", 'name: "<script>alert(1)</script>"'),
        encoding="utf-8",
    )
    run(capsys, "brief", job, "--weather", WEATHER, "--at", AT, "--out", tmp_path)
    assert "<script>" not in (tmp_path / "brief.html").read_text(encoding="utf-8")


def test_wrong_use_is_one_line_and_2(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for arguments in (
        ("today", job, "--at", "yesterday"),
        ("today", job, "--weather", "no-such-file"),
        ("weather",),
        ("weather", "--site", "here"),
        ("log", job),
        ("nonsense",),
        ("plan", job, "--bogus"),
    ):
        code, out, err = run(capsys, *arguments)
        assert (code, out, len(err.splitlines())) == (2, "", 1), arguments


def test_a_table_needs_no_colour(job: Path) -> None:
    done = _process("today", str(job), "--weather", WEATHER, "--at", AT)
    assert done.returncode == 0
    assert "\x1b[" not in done.stdout
    assert "go with protection" in done.stdout


def _process(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    code = "import sys; from scheduler.cli import main; sys.exit(main())"
    return subprocess.run(
        [sys.executable, "-c", code, *arguments],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(DEMO.parents[1]), **environment},
        timeout=600,
        check=False,
    )


def test_no_task_goes_before_what_it_waits_for(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def calls(at: str) -> dict[str, dict[str, Any]]:
        _, out, _ = run(capsys, "today", job, "--weather", WEATHER, "--at", at, "--json")
        return {task["task"]: task for task in json.loads(out)["tasks"]}

    before = calls(AT)
    for name in ("grout", "sill", "pockets", "backfill", "sheathe", "seal"):
        assert before[name]["call"] == "wait", name
        assert before[name]["reason"].startswith("after "), name
    for name in ("dowels", "lay"):
        run(capsys, "log", job, "--finished", name, "--at", "2026-11-09T12:00", "--no-plan")
    soon = calls("2026-11-09T13:00")
    assert soon["grout"]["call"] == "wait"  # its 24 h after laying are not over
    assert soon["grout"]["window"]["from"] >= "2026-11-10T12:00"


def test_the_picture_in_the_readme_is_what_the_demo_prints(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("CLOSEIN_SCENARIOS")
    made = tmp_path / "demo.svg"
    done = _process("demo", "--picture", str(made))
    assert done.returncode == 0
    kept = (DEMO / "demo.svg").read_text(encoding="utf-8")
    assert made.read_text(encoding="utf-8") == kept


def test_past_years_that_end_before_the_season_give_no_date(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The made years hold September to December; a season into March has no whole one."""
    text = job.read_text(encoding="utf-8")
    job.write_text(text.replace("season_end: 2026-12-31", "season_end: 2027-03-31"), "utf-8")
    code, out, _ = run(
        capsys, "plan", job, "--weather", WEATHER, "--climate", CLIMATE, "--at", AT, "--json"
    )
    plan = json.loads(out)["plan"]
    assert code == 0
    assert plan["date"] is None
    assert any("no whole past year for this season" in note for note in plan["notes"])


def test_links_that_lead_back_along_many_ways_are_followed_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Twenty layers of three tasks, each after all of the layer before: 3 to the 20 ways."""
    tasks = [
        f"  - {{id: t{layer}_{n}, work_type: framing, duration_h: 1, after: [{before}]}}"
        for layer in range(20)
        for n in range(3)
        for before in [", ".join(f"t{layer - 1}_{m}" for m in range(3)) if layer else ""]
    ]
    head = (DEMO / "job.yaml").read_text(encoding="utf-8").split("crews:")[0]
    path = tmp_path / "job.yaml"
    path.write_text(head + "tasks:\n" + "\n".join(tasks) + "\n", encoding="utf-8")
    code, out, _ = run(capsys, "today", path, "--weather", WEATHER, "--at", AT, "--json")
    assert code == 0
    assert len(json.loads(out)["tasks"]) == 60
