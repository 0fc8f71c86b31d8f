"""``closein plan`` with files: bars, calendar feed, tables."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import icalendar
import pytest

from scheduler.cli import main
from tests.demo_job import DEMO, demo_job

COMMON = ["--weather", str(DEMO / "forecast.json"), "--climate", str(DEMO / "climate.csv")]
AT = ["--at", "2026-11-09T06:00"]


def test_every_file_is_written_and_the_feed_updates_after_a_lost_day(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job, feed = demo_job(tmp_path), tmp_path / "plan.ics"
    files = {name: tmp_path / name for name in ("bars.svg", "tasks.csv", "links.csv")}
    asked = ["--picture", files["bars.svg"], "--csv", files["tasks.csv"]]
    asked += ["--network", files["links.csv"], "--calendar", feed]
    assert main([str(a) for a in ("plan", job, *COMMON, *AT, *asked)]) == 0
    assert files["bars.svg"].read_bytes().startswith(b"<?xml")
    rows = list(csv.DictReader(io.StringIO(files["tasks.csv"].read_text(encoding="utf-8"))))
    starts = {row["id"]: row["start"] for row in rows}
    assert starts["lay"] == "2026-11-09T07:00:00-05:00"
    links = list(csv.DictReader(io.StringIO(files["links.csv"].read_text(encoding="utf-8"))))
    gate = next(row for row in links if row["gate_opens"])
    assert (gate["predecessor"], gate["successor"]) == ("grout", "lower")
    first = sequences(feed)
    assert set(first.values()) == {0}
    assert main([str(a) for a in ("plan", job, *COMMON, *AT, "--calendar", feed)]) == 0
    assert sequences(feed) == first
    lost = ["log", job, "--lost", "8", "--cause", "rain", "--no-plan", *AT]
    assert main([str(a) for a in lost]) == 0
    assert main([str(a) for a in ("plan", job, *COMMON, *AT, "--calendar", feed)]) == 0
    later = sequences(feed)
    moved = {uid for uid, number in later.items() if number == 1}
    assert {uid.rsplit("-", 1)[-1] for uid in moved} >= {"lay@closein", "grout@closein"}
    assert 0 in later.values()
    capsys.readouterr()


def sequences(feed: Path) -> dict[str, int]:
    found = icalendar.Calendar.from_ical(feed.read_bytes()).walk("VEVENT")
    return {str(event["UID"]): int(event["SEQUENCE"]) for event in found}


def test_a_picture_of_another_kind_is_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ["--picture", tmp_path / "bars.gif"]
    assert main([str(a) for a in ("plan", demo_job(tmp_path), *COMMON, *AT, *asked)]) == 2
    assert "ends in .png or .svg" in capsys.readouterr().err
