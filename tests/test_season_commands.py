"""The commands of the open house as a person runs them: lists, season, stop, pictures."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.demo_job import demo_job
from tests.test_command import AT, CLIMATE, WEATHER, run


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return demo_job(tmp_path)


def test_tonight_lists_what_to_do_and_who_is_on_call(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(capsys, "tonight", job, "--weather", WEATHER, "--at", AT)
    text = " ".join(out.split())
    assert code == 0
    assert "drain: water lines: shut the main" in text
    assert "19.4 °F, Tue 10 Nov 06:00" in text
    assert "Before the days off (Sat 14 Nov to Sun 15 Nov)" in text
    assert "not known: do it" in text
    assert "on call: Site lead" in text
    assert "people under or near a raised house" in text


def test_tonight_as_json_has_its_version_and_keys(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, out, _ = run(capsys, "tonight", job, "--weather", WEATHER, "--at", AT, "--json")
    answer = json.loads(out)
    assert answer["version"] == "closein-tonight/1"
    tonight, weekend = answer["leaves"]
    assert tonight["away"]["days_off"] == []
    assert weekend["away"]["days_off"] == ["2026-11-14", "2026-11-15"]
    assert all(line["source"] for leave in answer["leaves"] for line in leave["lines"])


def test_the_brief_says_what_to_do_before_leaving(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(
        capsys, "brief", job, "--weather", WEATHER, "--climate", CLIMATE, "--at", AT,
        "--out", tmp_path / "out",
    )  # fmt: skip
    text = (tmp_path / "out" / "brief.txt").read_text(encoding="utf-8")
    page = (tmp_path / "out" / "brief.html").read_text(encoding="utf-8")
    assert "Before you leave: Tonight" in text
    assert "Before you leave: Tonight" in page
