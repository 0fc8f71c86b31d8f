"""Covers that an answer asked for are read from it as it was kept."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from scheduler.cli import main
from scheduler.runs.told_work import asked_in
from tests.demo_job import DEMO, demo_job

AT = datetime(2026, 11, 9, 11, tzinfo=UTC)


@pytest.mark.parametrize("command", ["today", "tonight"])
def test_what_a_command_asks_for_is_read_from_its_own_answer(
    tmp_path: Path, command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    job = demo_job(tmp_path)
    main([command, str(job), "--weather", str(DEMO / "forecast.json"), "--at", AT.isoformat(),
          "--json"])  # fmt: skip
    document = json.loads(capsys.readouterr().out)
    found = [*asked_in(document, at=AT)]
    assert found
    assert {one.measure for one in found} <= {
        "weather_resistive_cover", "insulating_blankets", "heated_enclosure",
    }  # fmt: skip
    assert all(one.task and one.told_at == AT and one.end > AT for one in found)


def test_an_answer_that_asks_for_no_cover_gives_none() -> None:
    lines = [{"measure": "lights", "from": None, "until": AT.isoformat()}]
    assert not [*asked_in({"tasks": [{"task": "a", "call": "go", "measures": lines}]}, at=AT)]
