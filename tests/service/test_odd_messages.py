"""One message, one person or one job that cannot be served leaves all others served."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

import pytest

from scheduler.interfaces.messages import Message, NewMessage, Reply, Sent, Step
from scheduler.mail.smtp import MailServer, Smtp
from scheduler.service import cuts, replans, rounds
from scheduler.service.rounds import round_of
from scheduler.service.sending import send_due
from scheduler.startup_service import watch
from scheduler.store import open_store
from tests.faults.clocks import Ticking
from tests.faults.disks import damaged
from tests.service.made_job import made_job, made_service
from tests.service.mail_server import Behaviour, serving
from tests.service.test_rounds import MORNING, NIGHT, letters

RAW = b"From: a@example.org\r\nSubject: hours\r\n\r\nhello\r\n"
ODD = ["jörg@example.org", "builder\u200b@example.org", "a\r\nRCPT TO:<b@example.org>"]


def queued(store, *recipients: str, now) -> None:  # type: ignore[no-untyped-def]
    new = [
        NewMessage(f"job-{n}", to, "morning", "2026-11-09", "mail", f"<{n}@x>", RAW + b"%d" % n)
        for n, to in enumerate(recipients)
    ]
    store.outbox.queue(new, now=now, at=now)


@pytest.mark.parametrize("odd", ODD)
@pytest.mark.parametrize("takes_all_letters", [False, True])
def test_an_address_that_the_server_cannot_take_is_an_alarm_and_the_others_leave(
    tmp_path: Path, odd: str, takes_all_letters: bool
) -> None:
    store, behaviour, clock = open_store(str(tmp_path / "s.db")), Behaviour(), Ticking(MORNING)
    queued(store, odd, "b@example.org", now=clock())
    with serving(behaviour, enable_SMTPUTF8=takes_all_letters) as server:
        smtp = Smtp(MailServer("127.0.0.1", server.port, "none", "c@example.org", timeout_s=5.0))
        send_due(store, {"mail": smtp}, clock=clock)
    steps = [message.step for message in store.outbox.messages()]
    assert steps == [Step.GIVEN_UP, Step.SENT]
    (alarm,) = store.outbox.alarms("job-0")
    assert "address" in alarm.told
    assert len(behaviour.took) == 1


@dataclass
class Breaking:
    """A way out with a bug, for one recipient."""

    left: bool
    took: list[str] = field(default_factory=list)

    def send(self, message: Message, content: bytes, *, begin: Callable[[], bool]) -> Sent:
        if message.recipient == "a@example.org" and not self.left:
            raise RecursionError
        assert begin()
        if message.recipient == "a@example.org":
            raise RecursionError
        self.took.append(message.recipient)
        return Sent(Reply.ACCEPTED, "ok")

    def check(self) -> str:
        return ""


@pytest.mark.parametrize(("left", "step"), [(False, Step.GIVEN_UP), (True, Step.IN_DOUBT)])
def test_whatever_breaks_in_one_message_is_its_alarm_and_the_others_leave(
    tmp_path: Path, left: bool, step: Step, caplog: pytest.LogCaptureFixture
) -> None:
    store, clock, way = open_store(str(tmp_path / "s.db")), Ticking(MORNING), Breaking(left)
    queued(store, "a@example.org", "b@example.org", now=clock())
    send_due(store, {"mail": way}, clock=clock)
    assert way.took == ["b@example.org"]
    (alarm,) = store.outbox.alarms()
    assert (alarm.step, alarm.job) == (step, "job-0")
    assert "RecursionError" in alarm.told
    assert "message failed" in caplog.text


def test_a_message_whose_bytes_are_damaged_ends_in_an_alarm_and_the_others_leave(
    tmp_path: Path,
) -> None:
    path, clock, way = tmp_path / "s.db", Ticking(MORNING), Breaking(left=False)
    store = open_store(str(path))
    queued(store, "c@example.org", "b@example.org", now=clock())
    damaged(path, store.outbox.messages()[0].content)
    send_due(store, {"mail": way}, clock=clock)
    assert way.took == ["b@example.org"]
    for _ in range(20):
        clock.jump(timedelta(hours=2))
        send_due(store, {"mail": way}, clock=clock)
    (alarm,) = store.outbox.alarms()
    assert alarm.step is Step.GIVEN_UP
    assert "are damaged" in alarm.told


def test_a_login_in_other_letters_is_told_and_tried_again_not_a_break(tmp_path: Path) -> None:
    """RFC 4616 would allow it; the standard library's other ways to log in take ASCII."""
    store, clock = open_store(str(tmp_path / "s.db")), Ticking(MORNING)
    queued(store, "b@example.org", now=clock())
    with serving(Behaviour(), auth_require_tls=False, authenticator=lambda *_: None) as server:
        where = MailServer(
            "127.0.0.1", server.port, "none", "c@example.org", "closein", "pferd-grün", timeout_s=5
        )
        send_due(store, {"mail": Smtp(where)}, clock=clock)
        assert "CLOSEIN_SMTP_PASSWORD" in Smtp(where).check()
    (message,) = store.outbox.messages()
    assert message.step is Step.WAITING
    assert "CLOSEIN_SMTP_PASSWORD" in message.told
    assert "pferd" not in message.told


def two_jobs(tmp_path: Path):  # type: ignore[no-untyped-def]
    made = made_service(
        tmp_path / "closein.db", made_job(tmp_path, name="A first"), NIGHT, clock=Ticking(NIGHT)
    )
    watch(made.service, (made_job(tmp_path, name="B second"),), weather="job", climate="")
    made.clock.now = MORNING
    return made


def test_a_job_that_breaks_as_it_is_read_leaves_the_next_one_its_morning(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    made = two_jobs(tmp_path)
    real = rounds.due

    def breaking(job, **how):  # type: ignore[no-untyped-def]
        if job.id == "a-first":
            raise ZeroDivisionError
        return real(job, **how)

    monkeypatch.setattr(rounds, "due", breaking)
    round_of(made.service)
    assert [message.job for message, _ in made.post.took] == ["b-second"]
    assert "round failed" in caplog.text


def test_a_job_that_breaks_as_it_is_planned_again_leaves_the_next_one_its_plan(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    made, asked = two_jobs(tmp_path), []

    def breaking(_: object, job: str) -> None:
        asked.append(job)
        if job == "a-first":
            raise ZeroDivisionError

    monkeypatch.setattr(replans, "behind", breaking)
    replans.replan_due(made.service)
    assert asked == ["a-first", "b-second"]
    assert "replan failed" in caplog.text


def test_an_outbox_that_breaks_leaves_every_job_its_morning(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    made = two_jobs(tmp_path)

    def breaking(*_: object, **__: object) -> None:
        raise UnicodeEncodeError("ascii", "ö", 0, 1, "odd")

    monkeypatch.setattr(rounds, "send_due", breaking)
    round_of(made.service)
    queued_for = [message.job for message in made.service.store.outbox.messages()]
    assert queued_for == ["a-first", "b-second"]
    assert "sending failed" in caplog.text


def test_a_person_whose_letter_cannot_be_written_is_told_so_and_the_others_get_theirs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    people = "[builder@example.org, {mail: owner@example.org, gets: owner}]"
    made = made_service(tmp_path / "closein.db", made_job(tmp_path, delivery=people), NIGHT)
    made.clock.now = MORNING

    def breaking(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(cuts, "_owner", breaking)
    round_of(made.service)
    builder, owner = letters(made)
    assert "nothing is known" not in builder["Subject"]
    assert "nothing is known" in owner["Subject"]
    assert "letter failed" in caplog.text
