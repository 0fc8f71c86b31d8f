"""``/health`` never says fit while people would not be told what they wait for."""

from __future__ import annotations

import shutil
import sqlite3
from collections import namedtuple
from datetime import timedelta
from pathlib import Path

import pytest
from starlette.applications import Starlette
from starlette.testclient import TestClient

from rules.errors import WeatherUnavailable
from scheduler.interfaces.messages import Reply
from scheduler.service import health as health_module
from scheduler.service import messages
from scheduler.service.health import Health, health_of
from scheduler.service.health_page import health_route
from scheduler.service.rounds import round_of
from tests.faults.clocks import Ticking
from tests.faults.disks import damaged, full_disk
from tests.service.made_job import HOUR, Made, made_job, made_service
from tests.service.test_rounds import MORNING, NIGHT

MINUTE, BEAT = timedelta(minutes=1), timedelta(seconds=20)
Usage = namedtuple("Usage", "total used free")  # noqa: PYI024 - as shutil's


def ticking(tmp_path: Path, **how: str) -> Made:
    return made_service(
        tmp_path / "closein.db", made_job(tmp_path, **how), NIGHT, clock=Ticking(NIGHT)
    )


def found(made: Made) -> Health:
    told = health_of(made.service)
    assert told.fit is (told.lines == ())
    page = TestClient(Starlette(routes=[health_route(lambda: told)])).get("/health")
    assert page.status_code == (200 if told.fit else 503)
    assert page.json()["faults"] == list(told.lines)
    return told


def after_a_morning(tmp_path: Path, **how: str) -> Made:
    made = ticking(tmp_path, **how)
    made.clock.now = MORNING
    round_of(made.service)
    assert found(made).fit
    return made


def test_a_service_without_jobs_is_not_fit(tmp_path: Path) -> None:
    made = ticking(tmp_path)
    made.service.store.runs.forget("north-end-lift")
    (line,) = found(made).lines
    assert line == "no job is looked after; closein serve JOB.yaml"


def test_a_full_disk_is_told_within_a_beat_and_over_when_there_is_room(tmp_path: Path) -> None:
    made = after_a_morning(tmp_path)
    with full_disk(made.service.store):
        made.clock.jump(BEAT)
        round_of(made.service)
        (line,) = found(made).lines
        assert "the disk is full" in line
    made.clock.jump(BEAT)
    round_of(made.service)
    assert found(made).fit


def test_a_disk_that_will_soon_be_full_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = after_a_morning(tmp_path)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: Usage(10**12, 10**12 - 10**7, 10**7))
    (line,) = found(made).lines
    assert line.startswith("10 MB free")


def test_a_folder_that_is_gone_is_told(tmp_path: Path) -> None:
    made = after_a_morning(tmp_path)
    (tmp_path / "closein.db").rename(tmp_path / "elsewhere.db")
    assert not found(made).fit


def test_damaged_bytes_are_found_by_and_by_and_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = after_a_morning(tmp_path)
    with sqlite3.connect(tmp_path / "closein.db") as raw:
        names = sorted(name for (name,) in raw.execute("SELECT identity FROM blobs"))
    assert len(names) > 4
    monkeypatch.setattr(health_module, "LOOKED_THROUGH", 2)
    damaged(tmp_path / "closein.db", names[-1])
    for _ in range(len(names)):
        made.clock.jump(BEAT)
        round_of(made.service)
    (line,) = found(made).lines
    assert names[-1] in line
    for _ in range(2 * len(names)):  # and told again each time round
        made.clock.jump(BEAT)
        round_of(made.service)
        assert not found(made).fit


def test_a_waiting_message_whose_bytes_are_damaged_is_told_at_once(tmp_path: Path) -> None:
    made = ticking(tmp_path)
    made.clock.now, made.post.reply = MORNING, Reply.LATER
    round_of(made.service)
    assert found(made).fit
    (message,) = made.service.store.outbox.messages()
    damaged(tmp_path / "closein.db", message.content)
    (line,) = found(made).lines
    assert line.startswith("message 1 of north-end-lift can never leave: ")


def test_a_message_that_nobody_can_send_is_told_at_once(tmp_path: Path) -> None:
    made = ticking(tmp_path, delivery='[{phone: "+1 315 555 0142"}]')
    made.clock.now = MORNING
    round_of(made.service)
    (line,) = found(made).lines
    assert line == "1 message waits for text, and no way to send it is set"


def test_a_message_given_up_is_told_until_somebody_takes_note(tmp_path: Path) -> None:
    made = ticking(tmp_path)
    made.clock.now, made.post.reply = MORNING, Reply.REFUSED
    round_of(made.service)
    (line,) = found(made).lines
    assert line == "1 message was given up; closein messages --alarms"
    assert found(made).alarms == 1
    made.service.store.outbox.seen(1, who="A. Ryd", now=made.clock())
    assert found(made).fit


def test_a_message_in_doubt_is_an_alarm_and_the_service_is_fit(tmp_path: Path) -> None:
    made = ticking(tmp_path)
    made.clock.now, made.post.reply = MORNING, Reply.UNKNOWN
    round_of(made.service)
    assert (found(made).fit, found(made).alarms) == (True, 1)


def test_a_morning_is_late_after_half_an_hour(tmp_path: Path) -> None:
    made = ticking(tmp_path)
    for after, lines in (
        (29 * MINUTE, ()),
        (31 * MINUTE, ("north-end-lift: the morning run is overdue",)),
        (5 * HOUR, ("north-end-lift: the morning run is overdue",)),
    ):
        made.clock.now = MORNING + after
        assert found(made).lines == lines


def test_a_morning_that_knew_nothing_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = ticking(tmp_path)

    def nothing(_: object) -> None:
        raise WeatherUnavailable("gfs: no answer")

    made.clock.now = MORNING
    with monkeypatch.context() as patched:
        patched.setattr(messages, "brief", nothing)
        round_of(made.service)
    (line,) = found(made).lines
    assert line == "north-end-lift: the morning knew nothing: gfs: no answer"
    made.clock.now = MORNING + timedelta(days=1)
    round_of(made.service)
    assert found(made).fit
