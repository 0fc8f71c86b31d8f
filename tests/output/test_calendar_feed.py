"""The feed by two parsers of others: updates in place, nothing doubled, nothing injected."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import icalendar
import vobject

from scheduler.output.calendar_feed import Told, calendar_feed, told_from, told_text
from scheduler.planning.plan.plan_answer import PlanAnswer
from tests.planning.reports.test_difference import BEFORE, DAY, JOB, plan


def events(feed: bytes) -> dict[str, icalendar.Event]:
    found = icalendar.Calendar.from_ical(feed).walk("VEVENT")
    assert len({str(event["UID"]) for event in found}) == len(found)
    return {str(event["UID"]): event for event in found}


def made(answer: PlanAnswer, told: dict[str, Told] | None = None) -> tuple[bytes, dict[str, Told]]:
    return calendar_feed(answer, JOB, told=told)


def test_two_parsers_read_the_same_events() -> None:
    feed, _ = made(BEFORE)
    own = events(feed)
    other = {event.uid.value: event for event in vobject.readOne(feed.decode()).vevent_list}
    assert own.keys() == other.keys() == {f"{JOB.id}-{task.id}@closein" for task in JOB.tasks}
    for uid, event in own.items():
        assert event["DTSTART"].dt == other[uid].dtstart.value
        assert event["DTEND"].dt == other[uid].dtend.value
        assert str(event["SUMMARY"]) == other[uid].summary.value
        assert event["DTEND"].dt - event["DTSTART"].dt == timedelta(hours=5)


def test_an_unchanged_plan_gives_the_same_bytes_however_late_it_is_made() -> None:
    feed, told = made(BEFORE)
    again, still = made(replace(BEFORE, at=BEFORE.at + 3 * DAY), told)
    assert again == feed
    assert still == told
    assert told_from(told_text(told)) == told


def test_what_moved_rises_by_one_and_the_rest_stays() -> None:
    first, told = made(BEFORE)
    moved = plan({"lay": 1, "grout": 2, "lower": 10, "paint": 1})
    second, told = made(moved, told)
    third, _ = made(BEFORE, told)
    for name, numbers in (("lay", [0, 1, 2]), ("grout", [0, 0, 0])):
        uid = f"{JOB.id}-{name}@closein"
        assert [int(events(feed)[uid]["SEQUENCE"]) for feed in (first, second, third)] == numbers


def test_a_task_that_is_done_is_cancelled_once_and_stays_so() -> None:
    _, told = made(BEFORE)
    lines = tuple(replace(line, done=line.id == "lay") for line in BEFORE.tasks)
    feed, told = made(replace(BEFORE, tasks=lines), told)
    lay = events(feed)[f"{JOB.id}-lay@closein"]
    assert (str(lay["STATUS"]), int(lay["SEQUENCE"])) == ("CANCELLED", 1)
    again, _ = made(replace(BEFORE, tasks=lines), told)
    assert again == feed
    back, _ = made(BEFORE, told)
    assert int(events(back)[f"{JOB.id}-lay@closein"]["SEQUENCE"]) == 2


def test_past_the_forecast_an_event_is_tentative() -> None:
    feed, _ = made(BEFORE)
    assert {str(event["STATUS"]) for event in events(feed).values()} == {"CONFIRMED"}
    unsure = tuple(replace(line, basis=None) for line in BEFORE.tasks)
    feed, _ = made(replace(BEFORE, tasks=unsure))
    assert {str(event["STATUS"]) for event in events(feed).values()} == {"TENTATIVE"}


def test_a_name_cannot_end_a_property_and_begin_another() -> None:
    bad = "Lay\r\nATTACH:http://203.0.113.9/x\nEND:VEVENT\u2028BEGIN:VALARM"
    lines = tuple(replace(line, name=bad) for line in BEFORE.tasks)
    feed, _ = made(replace(BEFORE, tasks=lines))
    for event in events(feed).values():
        assert "ATTACH" not in event
        assert "VALARM" not in {part.name for part in event.walk()}
    assert b"\nATTACH" not in feed
    assert len(vobject.readOne(feed.decode()).vevent_list) == len(BEFORE.tasks)


def test_no_line_is_longer_than_the_standard_allows() -> None:
    lines = tuple(replace(line, name="é" * 300) for line in BEFORE.tasks)
    feed, _ = made(replace(BEFORE, tasks=lines))
    assert max(len(line) for line in feed.split(b"\r\n")) <= 75  # RFC 5545 3.1
