"""A clock that ran ahead uses up no real day, leaves no page saying go, and is told."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from scheduler.interfaces.messages import Reply, Step
from scheduler.planning.model.log import Entry, EntryKind
from scheduler.service import looks, messages, replans
from scheduler.service.alarms import alarms_told
from scheduler.service.health import health_of
from scheduler.service.replans import replan_due
from scheduler.service.rounds import round_of
from scheduler.web.shown import Newest
from tests.faults.clocks import Ticking
from tests.faults.disks import full_disk
from tests.service.made_job import HOUR, Made, made_job, made_service
from tests.service.test_rounds import MORNING, NIGHT, letters, text_of

JOB = "north-end-lift"
DAY, MINUTE, BEAT = timedelta(days=1), timedelta(minutes=1), timedelta(seconds=20)


def ticking(tmp_path: Path, **how: str) -> Made:
    return made_service(
        tmp_path / "closein.db", made_job(tmp_path, **how), NIGHT, clock=Ticking(NIGHT)
    )


def kinds(made: Made) -> list[tuple[str, str]]:
    return [(message.kind, message.day[:10]) for message, _ in made.post.took]


def run_ahead(made: Made) -> None:
    """Do a true morning; then the clock stands a day and some hours ahead, and is set back."""
    made.clock.now = MORNING
    round_of(made.service)
    made.clock.now = MORNING + HOUR + 25 * HOUR
    round_of(made.service)
    made.clock.now = MORNING + 2 * HOUR
    round_of(made.service)


def test_the_real_day_has_its_own_morning_though_a_clock_that_ran_ahead_made_one(
    tmp_path: Path,
) -> None:
    made = ticking(tmp_path)
    run_ahead(made)
    for at in (25 * HOUR + MINUTE, 26 * HOUR, 27 * HOUR):  # before and after the false one's hour
        made.clock.now = MORNING - HOUR + at
        round_of(made.service)
    assert kinds(made) == [
        ("morning", "2026-11-09"),
        ("morning", "2026-11-10"),  # the false one
        ("clock", "2026-11-09"),
        ("morning", "2026-11-10"),
    ]
    clock, true = (text_of(letter) for letter in letters(made)[2:])
    assert "the morning of Tue 10 Nov" in clock
    assert "Mon 9 Nov 07:30: what it made then does not count" in clock
    assert "Alarm: the service's clock ran ahead" in true
    assert len({str(letter["Message-ID"]) for letter in letters(made)}) == 4
    assert made.service.store.verify() == ()


def test_pages_made_ahead_of_time_say_go_nowhere_until_new_ones_are_made(tmp_path: Path) -> None:
    made = ticking(tmp_path)
    run_ahead(made)
    pages = Newest(made.service.store)
    shown = pages.shown(JOB, made.clock())
    assert shown is not None
    assert not shown.is_old  # the look after the clock was set back has renewed them
    assert shown.made <= made.clock.now
    ahead = pages.shown(JOB, shown.made - timedelta(microseconds=1))
    assert ahead is not None
    assert ahead.is_old
    assert "go" not in {row["call"].lower() for row in ahead.rows()}
    assert "OLD" in ahead.age


def test_what_a_clock_that_ran_ahead_had_not_sent_yet_is_never_sent(tmp_path: Path) -> None:
    made = ticking(tmp_path)
    made.clock.now, made.post.reply = MORNING + DAY, Reply.LATER
    round_of(made.service)
    made.clock.now, made.post.reply = MORNING - HOUR, Reply.ACCEPTED
    for _ in range(40):
        round_of(made.service)
        made.clock.jump(HOUR)
    false, *others = [m for m in made.service.store.outbox.messages() if m.kind == "morning"]
    assert (false.step, false.day) == (Step.GIVEN_UP, "2026-11-10")
    assert "clock ran ahead" in false.told
    assert [(m.step, m.day) for m in others] == [
        (Step.SENT, "2026-11-09"), (Step.SENT, "2026-11-10 again"),
    ]  # fmt: skip


def test_a_message_that_was_leaving_as_the_clock_was_set_back_is_in_doubt_at_once(
    tmp_path: Path,
) -> None:
    made = ticking(tmp_path)
    made.clock.now, made.post.reply = MORNING + DAY, Reply.LATER
    round_of(made.service)
    outbox, at = made.service.store.outbox, made.clock.now + HOUR
    message = outbox.claim(now=at, until=at + HOUR)
    assert message is not None
    assert outbox.begin(message, now=at, until=at + HOUR)
    made.clock.now = MORNING
    round_of(made.service)
    assert [m.step for m in outbox.alarms() if m.kind == "morning"] == [Step.IN_DOUBT]


def test_a_job_taken_in_by_a_clock_that_ran_ahead_gets_its_next_morning(tmp_path: Path) -> None:
    made = made_service(
        tmp_path / "closein.db", made_job(tmp_path), NIGHT + DAY, clock=Ticking(NIGHT + DAY)
    )
    made.clock.now = NIGHT
    round_of(made.service)
    made.clock.now = MORNING
    round_of(made.service)
    assert ("morning", "2026-11-09") in kinds(made)


def test_a_run_during_which_the_clock_is_set_back_writes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made, real = ticking(tmp_path), messages.page_parts

    def set_back(said, **how):  # type: ignore[no-untyped-def]
        made.clock.now = MORNING
        return real(said, **how)

    made.clock.now = MORNING + DAY
    with monkeypatch.context() as patched:
        patched.setattr(messages, "page_parts", set_back)
        round_of(made.service)
    assert "morning" not in {kind for kind, _ in kinds(made)}
    made.clock.now = MORNING + MINUTE
    round_of(made.service)
    assert ("morning", "2026-11-09") in kinds(made)
    assert ("morning", "2026-11-10") not in kinds(made)


@pytest.mark.parametrize("by", [-10 * MINUTE, -30 * timedelta(seconds=1), 10 * MINUTE])
def test_clocks_that_differ_by_minutes_double_nothing_and_are_no_alarm(
    tmp_path: Path, by: timedelta
) -> None:
    made = ticking(tmp_path)
    made.clock.now = MORNING + MINUTE
    round_of(made.service)
    made.clock.jump(by)
    for _ in range(5):
        round_of(made.service)
        made.clock.jump(5 * MINUTE)
    assert kinds(made) == [("morning", "2026-11-09")]
    assert alarms_told(made.service.store, JOB, made.clock()) == ()


def test_a_jump_ahead_is_an_alarm_and_time_that_passes_is_none(tmp_path: Path) -> None:
    made, steady = ticking(tmp_path), [0.0]
    made.service = replace(made.service, steady=lambda: steady[0])
    made.clock.now = MORNING
    round_of(made.service)
    made.clock.now, steady[0] = MORNING + 5 * HOUR, 5 * 3600.0
    round_of(made.service)
    assert alarms_told(made.service.store, JOB, made.clock()) == ()
    made.clock.now, steady[0] = MORNING + 13 * HOUR, steady[0] + 20.0
    round_of(made.service)
    (told,) = alarms_told(made.service.store, JOB, made.clock())
    assert "jumped 8.0 h ahead" in told
    found = health_of(made.service)
    assert found.alarms == 1
    made.clock.now, steady[0] = MORNING + 37 * HOUR + MINUTE, steady[0] + 86460.0
    round_of(made.service)
    assert alarms_told(made.service.store, JOB, made.clock()) == ()


def breaking(*_: object, **__: object) -> None:
    raise RecursionError


def written_down(made: Made) -> None:
    entry = Entry(0, made.clock.now, made.clock.now, EntryKind.NOTE, text="wet")
    made.service.store.append(JOB, [entry], entered_at=made.clock())


def test_a_replan_that_breaks_is_tried_again_within_a_minute(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = ticking(tmp_path)
    made.clock.now = MORNING
    round_of(made.service)
    written_down(made)
    with monkeypatch.context() as patched:
        patched.setattr(replans, "judged_again", breaking)
        replan_due(made.service)
        made.clock.jump(BEAT)
    replan_due(made.service)
    assert replans.behind(made.service, JOB) is None


def test_a_replan_that_breaks_three_times_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = ticking(tmp_path)
    made.clock.now = MORNING
    round_of(made.service)
    written_down(made)
    monkeypatch.setattr(replans, "judged_again", breaking)
    for wanted in ("is being planned", "is being planned", "error of Closein's own", "error of"):
        replan_due(made.service)
        assert wanted in replans.why_behind(made.service, JOB, 0)
        made.clock.jump(BEAT)


def test_a_look_that_breaks_three_times_is_an_alarm_until_one_comes_through(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = ticking(tmp_path)
    made.clock.now = MORNING - HOUR
    with monkeypatch.context() as patched:
        patched.setattr(looks, "identity", breaking)
        for _ in range(3):
            round_of(made.service)
            made.clock.jump(BEAT)
    made.clock.now = MORNING
    round_of(made.service)
    assert "** Alarm: the look at gfs broke off at every try" in text_of(letters(made)[-1])
    made.clock.now = MORNING + 6 * HOUR
    round_of(made.service)
    made.clock.now = MORNING + DAY
    round_of(made.service)
    assert "broke off" not in text_of(letters(made)[-1])


def test_a_morning_on_a_full_disk_comes_within_a_minute_of_room(tmp_path: Path) -> None:
    """The store can take no word that the run broke off; its slot is free all the same."""
    made = ticking(tmp_path)
    made.clock.now = MORNING
    real = messages.brief

    def filling(desk):  # type: ignore[no-untyped-def]
        made_of = real(desk)
        disk.__enter__()
        return made_of

    disk = full_disk(made.service.store)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(messages, "brief", filling)
        round_of(made.service)
    for _ in range(2):
        made.clock.jump(BEAT)
        round_of(made.service)
    assert made.post.took == []
    disk.__exit__(None, None, None)
    made.clock.jump(BEAT)
    round_of(made.service)
    assert kinds(made) == [("morning", "2026-11-09")]
    assert "nothing is known" not in letters(made)[0]["Subject"]
    assert made.clock.now - MORNING < 2 * MINUTE
