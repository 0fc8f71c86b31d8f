"""A new forecast judges again what people acted on; one message a change, quiet at night."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path

import pytest

from scheduler.planning.model.job import Job
from scheduler.planning.model.log import Entry, EntryKind
from scheduler.planning.open_house.closein_date import Ends
from scheduler.planning.plan.plan_answer import PlanAnswer
from scheduler.runs.plan import plan
from scheduler.service.rounds import round_of
from scheduler.service.told import Change, after_telling, changes, told, worse
from scheduler.startup import demo_desk
from tests.service.made_job import HOUR, Made, made_job, made_service, utc

NIGHT = utc(2026, 11, 9, 3)
MORNING = utc(2026, 11, 9, 10, 30)
NOON = utc(2026, 11, 9, 18)  # local 13:00
PEOPLE = """[whole@example.org, {mail: owner@example.org, gets: owner},
  {mail: masons@example.org, gets: crew, crew: masons, short: true}]"""


def laid(made: Made, at: datetime) -> None:
    done = Entry(0, at, at, EntryKind.FINISHED, task="lay")
    made.service.store.append("north-end-lift", [done], entered_at=at)


def alerts(made: Made) -> list[tuple[str, EmailMessage]]:
    return [
        (one.recipient, message_from_bytes(raw, policy=policy.default))  # type: ignore[misc]
        for one, raw in made.post.took
        if one.kind.startswith("alert")
    ]


@pytest.fixture
def made(tmp_path: Path) -> Made:
    made = made_service(tmp_path / "closein.db", made_job(tmp_path, delivery=PEOPLE), NIGHT)
    made.clock.now = MORNING
    round_of(made.service)
    laid(made, MORNING + HOUR)
    made.clock.now = MORNING + 2 * HOUR
    round_of(made.service)  # people know the wall is laid and what keeps it
    assert alerts(made) == []
    return made


def test_a_cold_night_on_a_fresh_wall_is_told_once_to_those_it_concerns(made: Made) -> None:
    made.clock.now, made.air_c = NOON, -9.0
    round_of(made.service)
    found = alerts(made)
    assert [who for who, _ in found] == ["whole@example.org", "masons@example.org"]
    whole, short = (letter for _, letter in found)
    assert str(whole["Subject"]).startswith("Changed: Lay block: its protection")
    assert "Local codes, the engineer of record" in whole.get_content()
    assert len(short.get_content().splitlines()) == 1
    for _ in range(8):  # colder nights ask for more, and that is told; the same cold is no news
        made.clock.now += 3 * HOUR
        round_of(made.service)
        new = [str(mail["Subject"]) for who, mail in alerts(made) if who.startswith("whole")]
        assert len(new) == len(set(new))
    assert len(new) <= 3


def test_a_broken_commitment_is_told_in_quiet_hours_too(made: Made) -> None:
    made.clock.now, made.air_c = utc(2026, 11, 10, 3), -9.0  # local ten in the evening
    round_of(made.service)
    assert [who for who, _ in alerts(made)] == ["whole@example.org", "masons@example.org"]


def test_the_same_weather_is_no_news(made: Made) -> None:
    for _ in range(6):
        made.clock.now += 3 * HOUR
        round_of(made.service)
    assert alerts(made) == []


def test_what_finished_work_asks_for_anew_is_worse() -> None:
    assert worse("go", "go_with_protection+insulating_blankets")
    assert worse("go_with_protection+cover_wall_top", "no_go")
    assert worse("go_with_protection+a", "go_with_protection+a+b")
    assert not worse("go_with_protection+a+b", "go_with_protection+a")
    assert not worse("no_go", "go")


def test_what_was_not_told_stays_to_be_told() -> None:
    was = {"date": "2026-12-10", "commitment:lay": "go", "appointment:lower": "kept"}
    now = {"date": "2026-12-04", "commitment:lay": "no_go", "appointment:lower": "broken"}
    urgent = Change("commitment:lay", "go", "no_go", "Lay block", urgent=True)
    kept = after_telling(was, now, [urgent])
    assert kept == {**was, "commitment:lay": "no_go"}
    assert after_telling(kept, {**now, "new": "x"}, ()) == {**kept, "new": "x"}


def test_many_changes_come_as_one_message(tmp_path: Path) -> None:
    from scheduler.service.judging import _messages

    made = made_service(tmp_path / "closein.db", made_job(tmp_path), NIGHT)
    job = made.service.job(made.service.store.runs.watched()[0])
    found = [Change(f"commitment:{n}", "go", "no_go", f"wall {n} is broken") for n in range(5)]
    for count, wanted in ((3, 3), (4, 1), (5, 1)):
        new = _messages(made.service, job, job.delivery[0], found[:count], "slot", NIGHT)
        assert len(new) == wanted
    many = message_from_bytes(new[0].content, policy=policy.default)
    assert many["Subject"] == "Changed: 5 changes"
    assert all(change.line in many.get_content() for change in found)


@pytest.fixture(scope="module")
def planned() -> Iterator[tuple[Job, PlanAnswer]]:
    with demo_desk() as desk:
        found, _ = plan(desk)
        yield desk.job, found.answer


def lines(job: Job, before: PlanAnswer, after: PlanAnswer) -> list[str]:
    was, now = told((), before), told((), after)
    return [change.line for change in changes(job, was, now, (), after)]


def dated(found: PlanAnswer, on: date | None, ends: Ends = Ends.LIMIT) -> PlanAnswer:
    assert found.date is not None
    overall = replace(found.date.overall, latest_safe=on, ends=ends)
    return replace(found, date=replace(found.date, overall=overall))


@pytest.mark.parametrize(
    ("days", "is_told"), [(0, False), (1, False), (2, True), (-1, False), (-2, True)]
)
def test_a_date_that_moved_by_so_many_days_is_told(
    planned: tuple[Job, PlanAnswer], days: int, is_told: bool
) -> None:
    job, found = planned
    moved = lines(job, dated(found, date(2026, 12, 10)), dated(found, date(2026, 12, 10 + days)))
    assert bool(moved) is is_told
    if is_told:
        assert moved[0].startswith(f"Latest safe close-in: 2026-12-{10 + days:02}, was 2026-12-10")


def test_a_date_that_is_no_longer_known_is_told(planned: tuple[Job, PlanAnswer]) -> None:
    job, found = planned
    told_lines = lines(job, found, dated(found, None, Ends.NOT_KNOWN))
    assert told_lines[0].startswith("Latest safe close-in: not known, was 2026-12-")


def test_an_appointment_that_no_longer_holds_is_told_once(
    planned: tuple[Job, PlanAnswer],
) -> None:
    job, found = planned
    at = found.at + timedelta(days=3)

    def booked(kept: bool) -> PlanAnswer:
        tasks = tuple(
            replace(line, appointment=at, who="house lifter", kept=kept)
            if line.id == "lower"
            else replace(line, appointment=None)
            for line in found.tasks
        )
        return replace(found, tasks=tasks)

    (line,) = lines(job, booked(kept=True), booked(kept=False))
    assert line.startswith("Lower the house: the appointment with house lifter of Thu 12 Nov")
    assert "no longer holds; the plan has it" in line
    assert lines(job, booked(kept=False), booked(kept=False)) == []
    assert lines(job, booked(kept=False), booked(kept=True)) == []
