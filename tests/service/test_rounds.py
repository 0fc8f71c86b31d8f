"""The service over real jobs: once whatever happens, late once, faults told, headers safe."""

from __future__ import annotations

from datetime import timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path

import pytest

from rules.errors import CloseinError
from scheduler.interfaces.messages import Reply, Step
from scheduler.service.health import health_of
from scheduler.service.rounds import round_of
from tests.service.made_job import HOUR, Made, made_job, made_service, utc

NIGHT = utc(2026, 11, 9, 3)
MORNING = utc(2026, 11, 9, 10, 30)
MINUTE = timedelta(minutes=1)


def letters(made: Made) -> list[EmailMessage]:
    return [message_from_bytes(raw, policy=policy.default) for _, raw in made.post.took]  # type: ignore[misc]


def text_of(letter: EmailMessage) -> str:
    body = letter.get_body(("plain",))
    assert body is not None
    return str(body.get_content())


def test_a_restart_in_the_middle_of_the_morning_makes_no_second_message(tmp_path: Path) -> None:
    path, job = tmp_path / "closein.db", made_job(tmp_path)
    first = made_service(path, job, NIGHT)
    second = made_service(path, job, NIGHT)
    for made in (first, second):
        made.clock.now = MORNING
    round_of(first.service)
    round_of(second.service)
    second.clock.now += HOUR
    round_of(second.service)
    assert [len(made.post.took) for made in (first, second)] == [1, 0]


def breaking(*_: object, **__: object) -> None:
    raise MemoryError


def test_a_run_that_breaks_off_is_begun_again_at_the_next_beat(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    made = made_service(tmp_path / "closein.db", made_job(tmp_path), NIGHT)
    made.clock.now = MORNING
    with monkeypatch.context() as broken:
        broken.setattr("scheduler.service.messages.brief", breaking)
        round_of(made.service)
        round_of(made.service)
    assert "run failed" in caplog.text
    assert made.post.took == []
    round_of(made.service)
    assert "GO: Lay block" in text_of(letters(made)[0])


def test_a_run_that_never_comes_through_is_told_to_its_people_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = made_service(tmp_path / "closein.db", made_job(tmp_path), NIGHT)
    made.clock.now = MORNING
    monkeypatch.setattr("scheduler.service.messages.brief", breaking)
    monkeypatch.setattr("scheduler.service.looks.identity", breaking)
    for _ in range(6):
        round_of(made.service)
    (told,) = letters(made)
    assert "nothing is known" in told["Subject"]
    assert "an error of Closein's own" in told.get_content()
    (look,) = made.service.store.runs.last("north-end-lift", "look:gfs")
    assert "an error of Closein's own" in look.told


def test_a_process_that_dies_leaves_its_run_to_others_when_its_time_is_up(tmp_path: Path) -> None:
    made = made_service(tmp_path / "closein.db", made_job(tmp_path), NIGHT)
    made.clock.now = MORNING
    runs, until = made.service.store.runs, MORNING + made.service.leases.run
    assert runs.claim("north-end-lift", "morning", "2026-11-09", now=MORNING, until=until)
    round_of(made.service)
    assert made.post.took == []
    made.clock.now = until
    round_of(made.service)
    assert len(made.post.took) == 1


def test_after_two_days_down_there_is_one_message_that_says_late_and_what_was_missed(
    tmp_path: Path,
) -> None:
    made = made_service(tmp_path / "closein.db", made_job(tmp_path), NIGHT)
    made.clock.now = MORNING
    round_of(made.service)
    made.clock.now = utc(2026, 11, 12, 15)
    for _ in range(5):
        round_of(made.service)
        made.clock.now += 10 * MINUTE
    one, late = (text_of(letter) for letter in letters(made))
    assert "Late:" not in one
    assert "** Late: due Thu 12 Nov 05:30; the service did not get to it in time" in late
    assert "** No morning message was made on Tue 10 Nov, Wed 11 Nov" in late


def test_a_message_in_doubt_is_told_in_the_next_one(tmp_path: Path) -> None:
    made = made_service(tmp_path / "closein.db", made_job(tmp_path), NIGHT)
    made.clock.now, made.post.reply = MORNING, Reply.UNKNOWN
    round_of(made.service)
    made.clock.now, made.post.reply = MORNING + timedelta(days=1), Reply.ACCEPTED
    round_of(made.service)
    told = text_of(letters(made)[-1])
    assert (
        "** Alarm: the morning message of 2026-11-09 to builder@example.org may not have "
        "arrived and was not sent again" in told
    )
    (alarm,) = made.service.store.outbox.alarms()
    assert alarm.step is Step.IN_DOUBT


def test_a_person_with_two_roles_gets_both_cuts_and_a_role_named_twice_one(
    tmp_path: Path,
) -> None:
    both = "[a@example.org, {mail: a@example.org, gets: owner}, a@example.org]"
    made = made_service(tmp_path / "closein.db", made_job(tmp_path, delivery=both), NIGHT)
    made.clock.now = MORNING
    round_of(made.service)
    assert [m.kind for m, _ in made.post.took] == ["morning", "morning:owner"]


def test_a_job_file_that_was_spoilt_is_told_to_its_people_and_mended_next_day(
    tmp_path: Path,
) -> None:
    job = made_job(tmp_path)
    made = made_service(tmp_path / "closein.db", job, NIGHT)
    whole = job.read_text()
    round_of(made.service)
    job.write_text(whole.replace("duration_h: 6", "duration_h: soon"))
    made.clock.now = MORNING
    round_of(made.service)
    (told,) = letters(made)
    assert "nothing is known" in told["Subject"]
    assert "tasks.lay.duration_h is 'soon'" in told.get_content()
    job.write_text(whole)
    made.clock.now += timedelta(days=1)
    round_of(made.service)
    assert "GO: Lay block" in text_of(letters(made)[1])


def test_one_jobs_bug_does_not_keep_another_from_its_morning(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    bad, good = made_job(tmp_path, name="A bad one"), made_job(tmp_path, name="B good one")
    made = made_service(tmp_path / "closein.db", bad, NIGHT)
    made_service(tmp_path / "closein.db", good, NIGHT)
    bad.unlink()
    made.clock.now = MORNING
    round_of(made.service)
    assert [m.job for m, _ in made.post.took] == ["b-good-one"]
    assert "job file" in caplog.text


@pytest.mark.parametrize(
    "task", ['"Lay\\r\\nBcc: thief@example.org\\r\\n\\r\\nhello"', '"Lay\\u2028Bcc: a@b.c"']
)
def test_a_name_in_the_job_file_can_never_be_a_header(tmp_path: Path, task: str) -> None:
    path = made_job(tmp_path, task=task, name="North end lift", evening="16:30")
    try:
        made = made_service(tmp_path / "closein.db", path, NIGHT)
    except CloseinError:
        return  # the job file refuses it
    made.clock.now = MORNING
    round_of(made.service)
    made.clock.now = utc(2026, 11, 9, 21, 30)
    round_of(made.service)
    assert len(made.post.took) == 2
    for letter, (_, raw) in zip(letters(made), made.post.took, strict=True):
        assert letter["Bcc"] is None
        assert b"\r\nBcc:" not in raw.partition(b"\r\n\r\n")[0]
        assert letter["To"] == "builder@example.org"


def test_a_name_is_text_in_the_html_whatever_it_holds(tmp_path: Path) -> None:
    task = '"<script>alert(1)</script>{{7*7}}<img src=x>"'
    path = made_job(tmp_path, task=task, evening="16:30")
    made = made_service(tmp_path / "closein.db", path, NIGHT)
    for now in (MORNING, utc(2026, 11, 9, 21, 30)):
        made.clock.now = now
        round_of(made.service)
    assert len(made.post.took) == 2
    for letter in letters(made):
        body = letter.get_body(("html",))
        assert body is not None
        html = str(body.get_content())
        assert "<script>" not in html
        assert "<img src=x>" not in html
        assert "{{7*7}}" in html


def test_health_fails_when_the_morning_is_overdue_and_when_a_job_file_is_gone(
    tmp_path: Path,
) -> None:
    job = made_job(tmp_path)
    made = made_service(tmp_path / "closein.db", job, NIGHT)

    def faults() -> tuple[str, ...]:
        found = health_of(made.service)
        assert found.fit is (found.lines == ())
        return found.lines

    made.clock.now = MORNING + 29 * MINUTE
    assert faults() == ()
    made.clock.now = MORNING + 30 * MINUTE
    assert faults() == ("north-end-lift: the morning run is overdue",)
    round_of(made.service)
    assert faults() == ()
    again = made_service(tmp_path / "other.db", job, NIGHT)
    job.unlink()
    found = health_of(again.service)
    assert not found.fit
    assert "job file" in found.lines[0] or "North" in found.lines[0]


def test_health_fails_where_messages_cannot_leave(tmp_path: Path) -> None:
    made = made_service(tmp_path / "closein.db", made_job(tmp_path), NIGHT)
    made.clock.now, made.post.reply = MORNING, Reply.LATER
    for tries in range(1, 4):
        round_of(made.service)
        found = health_of(made.service)
        assert found.fit is (tries < 3)
        made.clock.now += 10 * MINUTE
    assert found.lines == ("1 messages wait after 3 tries and more; the last said: as told",)


def test_answer_messages_and_run_stand_or_fall_together(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = made_service(tmp_path / "closein.db", made_job(tmp_path), NIGHT)
    made.clock.now = MORNING
    store = made.service.store
    monkeypatch.setattr(type(store.runs), "finish", lambda *_, **__: False)  # overtaken
    round_of(made.service)
    assert store.outbox.messages() == ()
    assert store.decisions("north-end-lift") == ()


def test_a_service_started_again_with_its_job_owes_the_morning_still(tmp_path: Path) -> None:
    """Killed between the hour the morning was due and the morning, started as it was before."""
    job = made_job(tmp_path)
    made_service(tmp_path / "closein.db", job, utc(2026, 11, 9, 9)).service.store.close()
    again = made_service(tmp_path / "closein.db", job, utc(2026, 11, 9, 10, 40))
    round_of(again.service)
    assert [m.kind for m, _ in again.post.took] == ["morning"]
