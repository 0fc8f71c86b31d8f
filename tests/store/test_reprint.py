"""A past answer is printed again bit for bit, and made again from what was kept with it."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest

from scheduler.cli import main
from scheduler.interfaces.protocols import Store
from scheduler.interfaces.records import Decision
from scheduler.store import open_store
from tests.demo_job import DEMO, demo_job
from tests.jobfile.test_malformed import BASE, SLIPS

AT = "2026-11-09T06:00"
CLIMATE = ("--climate", str(DEMO / "climate.csv"))


def out(capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    assert main([str(argument) for argument in arguments]) == 0
    return capsys.readouterr().out


def older_forecast(folder: Path) -> Path:
    """Return the demo's forecast as issued six hours before, with other hours."""
    forecast = json.loads((DEMO / "forecast.json").read_text(encoding="utf-8"))
    forecast["issued_at"] = "2026-11-08T22:00-05:00"
    air = forecast["hours"]["columns"]["air_temperature"]
    air["values"] = [value + 3 for value in air["values"]]
    path = folder / "older.json"
    path.write_text(json.dumps(forecast), encoding="utf-8")
    return path


def copied(store: Store, decision: Decision, job: str, path: Path) -> Store:
    """Return a new store that holds only what a decision names."""
    new = open_store(str(path))
    for entry in store.entries(job)[: decision.inputs.log_position]:
        new.append(job, [entry], entered_at=entry.entered_at)
    for role, name in decision.inputs.forecasts:
        rows = store.forecasts_until(job, decision.at, role=role)
        row = next(row for row in rows if row.identity == name)
        new.keep_forecast(
            job, store.forecast_bytes(name), role=role, source=row.source,
            issued_at=row.issued_at, received_at=row.received_at,
        )  # fmt: skip
    return new


@pytest.mark.parametrize("command", ["today", "plan"])
def test_an_answer_is_made_again_from_what_was_kept_with_it(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job, store_path = demo_job(tmp_path), tmp_path / "closein.db"
    common = ("--store", store_path, "--json")
    older = older_forecast(tmp_path)
    out(capsys, "today", job, "--weather", older, "--at", "2026-11-08T23:00", *common)
    out(capsys, "log", job, "--note", "x", "--at", "2026-11-09T05:30", "--no-plan", *common)
    extra = CLIMATE if command == "plan" else ()
    weather = ("--weather", DEMO / "forecast.json")
    first = out(capsys, command, job, *weather, *extra, "--at", AT, *common)
    # afterwards the world goes on: another entry, another job file
    out(
        capsys, "log", job, "--started", "dowels", "--at", "2026-11-09T07:30", "--no-plan", *common
    )
    text = job.read_bytes()
    job.write_bytes(text.replace(b"confidence: 0.9", b"confidence: 0.8"))

    store = open_store(str(store_path))
    (name,) = store.jobs()
    decision = store.decisions(name, kind=command)[-1]
    assert decision.answer.decode() + "\n" == first
    assert decision.inputs.job_text == text
    assert len([role for role, _ in decision.inputs.forecasts if role == "weather"]) == 2
    assert out(capsys, "kept", job, "--number", decision.seq, "--store", store_path) == first

    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "job.yaml").write_bytes(decision.inputs.job_text)
    copied(store, decision, name, elsewhere / "new.db").close()
    again = out(
        capsys, command, elsewhere / "job.yaml", "--weather", "kept",
        "--at", decision.at.isoformat(), "--store", elsewhere / "new.db", "--json",
    )  # fmt: skip
    assert again == first
    assert store.verify() == ()


@pytest.mark.parametrize("name", list(SLIPS))
def test_a_malformed_job_file_is_exit_2_and_loses_nothing_that_is_stored(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job, store_path = tmp_path / "job.yaml", tmp_path / "closein.db"
    job.write_text(BASE, encoding="utf-8")
    out(capsys, "log", job, "--note", "kept", "--at", AT, "--no-plan", "--store", store_path)
    before = store_path.read_bytes()
    stands, instead, lines = SLIPS[name]
    job.write_text(BASE.replace(stands, instead) if stands else instead, encoding="utf-8")
    assert main(["log", str(job), "--note", "lost", "--no-plan", "--store", str(store_path)]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.splitlines() == [f"closein: {job}:{line}" for line in lines]
    assert store_path.read_bytes() == before


def test_a_replayed_morning_does_not_know_what_was_told_later(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job, store_path = demo_job(tmp_path), tmp_path / "closein.db"
    common = ("--store", store_path, "--json")
    weather = ("--weather", DEMO / "forecast.json")
    first = out(capsys, "today", job, *weather, "--at", AT, *common)
    out(
        capsys, "log", job, "--reading", "unit_core_temperature", "20", "degF", "--when", AT,
        "--at", "2026-11-09T09:00", "--no-plan", *common,
    )  # fmt: skip
    assert out(capsys, "today", job, *weather, "--at", AT, *common) == first
    store = open_store(str(store_path))
    (name,) = store.jobs()
    (entry,) = store.entries(name)
    assert entry.entered_at - entry.at == timedelta(hours=3)


@pytest.mark.parametrize("name", ["/dev/zero", "/", "none.json"])
def test_entries_that_are_no_file_are_refused_without_reading(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job, store_path = demo_job(tmp_path), tmp_path / "closein.db"
    code = main(["log", str(job), "--entries", name, "--no-plan", "--store", str(store_path)])
    told = capsys.readouterr()
    assert (code, told.out) == (2, "")
    assert told.err.endswith("; name a file\n")
    assert len(told.err.splitlines()) == 1
