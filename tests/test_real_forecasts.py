"""The whole command on real recorded gridpoint answers of the US National Weather Service.

Each file was really answered by api.weather.gov. Where the file lacks what a task's rules need,
the verdict must be not known, never go.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from scheduler.cli import main
from scheduler.weather.files import read_weather
from tests.demo_job import moved_demo_job
from tests.recorded_data import recorded, recorded_files

ZONES = {
    "rah": "America/New_York",
    "tae": "America/New_York",
    "mtr": "America/Los_Angeles",
    "aly": "America/New_York",
    "box": "America/New_York",
    "mpx": "America/Chicago",
    "okx": "America/New_York",
    "afg": "America/Anchorage",
    "phi": "America/New_York",
}
FILES = recorded_files("nws", "nws-gridpoint-*.json")
GO = {"go", "go_with_protection"}


def _morning(path: Path) -> datetime:
    forecast = read_weather(path)
    issued = forecast.provenance.issued_at
    first = forecast.table.start[0].astype("datetime64[s]").item().replace(tzinfo=UTC)
    return issued if issued is not None else first


def _job(path: Path, folder: Path) -> tuple[Path, datetime]:
    where = read_weather(path).provenance
    zone = ZONES[path.name.split("-")[2]]
    now = _morning(path)
    job = moved_demo_job(
        folder,
        latitude=round(where.latitude_deg or 40.0, 4),
        longitude=round(where.longitude_deg or -75.0, 4),
        zone=zone,
        morning=now.astimezone(ZoneInfo(zone)),
    )
    return job, now


@pytest.mark.skipif(not FILES, reason="recorded data is absent; set CLOSEIN_DATA to its folder")
@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
@pytest.mark.parametrize("command", ["today", "tonight", "plan"])
def test_command_runs_on_a_real_answer(
    path: Path, command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job, now = _job(path, tmp_path)
    code = main([command, str(job), "--weather", str(path), "--at", now.isoformat(), "--json"])
    out, err = capsys.readouterr()
    assert (code, err) == (0, "")
    answer = json.loads(out)
    kind = "answer" if command == "today" else command
    assert answer["version"] == f"closein-{kind}/1"


def test_a_file_with_rain_alone_lets_nothing_go_that_hangs_on_temperature(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every layer but the rain amount is absent from this answer."""
    path = recorded("nws", "nws-gridpoint-phi-2026-09-01-qpf-only.json")
    job, now = _job(path, tmp_path)
    assert (
        main(["today", str(job), "--weather", str(path), "--at", now.isoformat(), "--json"]) == 0
    )
    tasks = {task["task"]: task for task in json.loads(capsys.readouterr().out)["tasks"]}
    for name in ("lay", "grout", "pockets", "seal"):
        assert tasks[name]["outcome"] in {"not_known", "no_go"}, name
        assert tasks[name]["call"] not in GO, name


def test_rain_amounts_that_end_early_are_not_known_not_dry(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In the Albany answer amounts end on 2026-07-19T00Z, the next chance of rain is 94 %."""
    path = recorded("nws", "nws-gridpoint-aly-2026-07-15.json")
    job, now = _job(path, tmp_path)
    text = job.read_text(encoding="utf-8")
    asked = "    booked: 2026-07-19T00:00:00Z\n    until: 2026-07-19T05:00:00Z\n"
    text = text.replace("    work_type: seal_joints\n", f"    work_type: seal_joints\n{asked}")
    job.write_text(text, encoding="utf-8")
    assert (
        main(["today", str(job), "--weather", str(path), "--at", now.isoformat(), "--json"]) == 0
    )
    tasks = {task["task"]: task for task in json.loads(capsys.readouterr().out)["tasks"]}
    assert tasks["seal"]["outcome"] in {"not_known", "no_go"}
    assert tasks["seal"]["call"] not in GO
