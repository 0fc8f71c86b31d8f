"""The plan in a calendar: read back by the library, the same ids each time, no line injected."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from icalendar import Calendar

from scheduler.output.plan_calendar import plan_calendar
from scheduler.planning.job import Job
from scheduler.runs.brief import Morning, brief
from scheduler.startup import demo_desk


@pytest.fixture(scope="module")
def made() -> Iterator[tuple[Morning, Job]]:
    with demo_desk() as desk:
        yield brief(desk), desk.job


def calendar(made: tuple[Morning, Job], **how: str) -> Calendar:
    morning, job = made
    raw = plan_calendar(
        morning.planned.answer, job, morning.today.answers, morning.brief.decide, **how
    )
    assert b"\n" not in raw.replace(b"\r\n", b"")
    assert max(len(line) for line in raw.split(b"\r\n")) <= 75  # RFC 5545, 3.1
    return Calendar.from_ical(raw)  # type: ignore[return-value]


def test_every_open_task_with_a_place_is_there_at_its_hours(made: tuple[Morning, Job]) -> None:
    events = calendar(made).walk("VEVENT")
    planned = {
        (line.start, line.finish)
        for line in made[0].planned.answer.tasks
        if line.start is not None and not line.done
    }
    work = [event for event in events if not str(event["summary"]).startswith("Decide")]
    assert {(event["dtstart"].dt, event["dtend"].dt) for event in work} == planned
    assert len({str(event["uid"]) for event in events}) == len(events)
    assert all("Local codes" in str(event["description"]) for event in events)
    assert all(isinstance(event["dtstart"].dt, datetime) for event in events)


def test_a_decision_has_an_alarm_two_hours_before(made: tuple[Morning, Job]) -> None:
    decisions = [
        event for event in calendar(made).walk("VEVENT")
        if str(event["summary"]).startswith("Decide")
    ]  # fmt: skip
    assert [event["dtend"].dt for event in decisions] == [d.at for _, d in made[0].brief.decide]
    for event in decisions:
        (alarm,) = event.walk("VALARM")
        assert alarm["trigger"].dt == timedelta(hours=-2)


def test_a_crew_has_its_own_work_only(made: tuple[Morning, Job]) -> None:
    summaries = [str(event["summary"]) for event in calendar(made, crew="masons").walk("VEVENT")]
    assert any(summary.startswith("Lay three courses (") for summary in summaries)
    assert not any("Lower the house" in summary for summary in summaries)


def test_a_plan_that_moves_moves_the_same_event(made: tuple[Morning, Job]) -> None:
    morning, job = made
    plan = morning.planned.answer
    later = replace(
        plan,
        tasks=tuple(
            replace(line, start=line.start + timedelta(days=1), finish=line.finish + timedelta(1))
            if line.start and line.finish
            else line
            for line in plan.tasks
        ),
    )
    first = Calendar.from_ical(plan_calendar(plan, job, (), ())).walk("VEVENT")
    second = Calendar.from_ical(plan_calendar(later, job, (), ())).walk("VEVENT")
    assert [e["uid"] for e in first] == [e["uid"] for e in second]
    assert [e["dtstart"].dt + timedelta(days=1) for e in first] == [
        e["dtstart"].dt for e in second
    ]


@pytest.mark.parametrize("nasty", ["x\r\nEND:VEVENT\r\nBEGIN:VALARM", "a\\nATTACH:http://x;,"])
def test_a_name_can_never_be_a_line_of_the_calendar(made: tuple[Morning, Job], nasty: str) -> None:
    morning, job = made
    plan = morning.planned.answer
    named = replace(plan, tasks=tuple(replace(line, name=nasty) for line in plan.tasks))
    raw = plan_calendar(named, replace(job, name=nasty), (), [(nasty, morning.brief.decide[0][1])])
    lines = raw.replace(b"\r\n ", b"").split(b"\r\n")
    assert not any(line.startswith((b"ATTACH", b"END:VEVENT\\")) for line in lines)
    events = Calendar.from_ical(raw).walk("VEVENT")
    assert len(events) == sum(1 for one in named.tasks if one.start and not one.done) + 1
    assert sum(len(event.walk("VALARM")) for event in events) == 1
