"""Alarms are listed, and a named person takes note of one; that is in the records."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from scheduler.cli import main
from scheduler.interfaces.messages import Reply
from scheduler.service.rounds import round_of
from tests.service.made_job import made_job, made_service, utc


@pytest.fixture
def store(tmp_path: Path) -> str:
    made = made_service(tmp_path / "closein.db", made_job(tmp_path), utc(2026, 11, 9, 3))
    made.clock.now, made.post.reply = utc(2026, 11, 9, 10, 30), Reply.UNKNOWN
    round_of(made.service)
    made.clock.now, made.post.reply = utc(2026, 11, 10, 10, 30), Reply.ACCEPTED
    round_of(made.service)
    made.service.store.close()
    return str(tmp_path / "closein.db")


def listed(capsys: pytest.CaptureFixture[str], store: str, *more: str) -> list[tuple[int, str]]:
    assert main(["messages", "--store", store, "--json", *more]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["version"] == "closein-messages/1"
    return [(one["number"], one["step"]) for one in document["messages"]]


def test_an_alarm_is_listed_until_a_named_person_takes_note(
    store: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert listed(capsys, store) == [(1, "in_doubt"), (2, "sent")]
    assert listed(capsys, store, "--alarms") == [(1, "in_doubt")]
    assert main(["messages", "--store", store, "--seen", "1"]) == 2
    assert "--seen needs --who" in capsys.readouterr().err
    assert main(["messages", "--store", store, "--seen", "2", "--who", "Ada"]) == 2
    assert "no open alarm has that number" in capsys.readouterr().err
    assert listed(capsys, store, "--alarms", "--seen", "1", "--who", "Ada") == []
    assert main(["messages", "--store", store]) == 0
    assert "seen by Ada" in " ".join(capsys.readouterr().out.split())
    assert main(["verify", "--store", store]) == 0


def test_the_answers_behind_the_messages_are_kept_and_listed(
    store: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = str(next(tmp_path.glob("*.yaml")))
    assert main(["kept", job, "--store", store]) == 0
    assert capsys.readouterr().out.count("brief") >= 2
    assert main(["kept", job, "--store", store, "--number", "1"]) == 0
    assert json.loads(capsys.readouterr().out)["version"] == "closein-brief/1"
