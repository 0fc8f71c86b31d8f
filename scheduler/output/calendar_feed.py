"""The plan as a calendar feed (RFC 5545): one event a task, updated in place by every client.

An event keeps its UID for the life of the task. Its SEQUENCE rises by one when what it says
changes and only then, so that a feed made again from an unchanged plan is the same byte for byte.
What is done, or has lost its place, is told as cancelled once it was told at all.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from hashlib import sha256

from icalendar import Calendar, Event

from scheduler.output.today_table import plain_reason
from scheduler.output.words import clock, day, words
from scheduler.planning.model.answer import TaskAnswer
from scheduler.planning.model.job import Job
from scheduler.planning.plan.plan_answer import Basis, PlanAnswer, PlanLine
from scheduler.planning.reports.briefing import CALL_WORDS

PRODUCT = "-//closein//plan//EN"


@dataclass(frozen=True, slots=True)
class Told:
    """What was said of one event last."""

    sequence: int
    saying: str  # SHA-256 of what it says
    stamped: str  # moment of the last change, ISO
    start: str  # ISO; a cancelled event still says when it was
    end: str
    cancelled: bool = False


def calendar_feed(
    plan: PlanAnswer,
    job: Job,
    *,
    answers: Mapping[str, TaskAnswer] | None = None,
    told: Mapping[str, Told] | None = None,
) -> tuple[bytes, dict[str, Told]]:
    """Return the feed, and what it says, to be handed in the next time.

    Parameters
    ----------
    plan, job : PlanAnswer, Job
        The plan that is told.
    answers : TaskAnswer, by task, optional
        The morning's calls; reason and call go into the text.
    told : Told, by UID, optional
        What the feed before said.
    """
    before, said = told or {}, {}
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", _line(job.name))
    calendar.add("x-wr-timezone", job.site.time_zone)
    for line in plan.tasks:
        if line.start is None or line.finish is None or line.done:
            continue
        uid = f"{job.id}-{line.id}@closein"
        texts = _texts(line, job, (answers or {}).get(line.id))
        said[uid] = _next(before.get(uid), line.start, line.finish, texts, plan.at)
        calendar.add_component(_event(uid, said[uid], texts))
    for uid, last in before.items():
        if uid not in said:
            said[uid] = last if last.cancelled else _cancelled(last, plan.at)
            calendar.add_component(_event(uid, said[uid], {"status": "CANCELLED"}))
    return calendar.to_ical(), said


def told_text(said: Mapping[str, Told]) -> str:
    """Return what a feed said, to be kept."""
    return json.dumps({uid: asdict(one) for uid, one in said.items()}, sort_keys=True)


def told_from(text: str) -> dict[str, Told]:
    """Return what was kept of the feed before."""
    return {uid: Told(**row) for uid, row in json.loads(text).items()}


def _texts(line: PlanLine, job: Job, answer: TaskAnswer | None) -> dict[str, str]:
    """Return what an event says besides its hours."""
    zone = job.site.time_zone
    told = [f"rests on {words(line.basis.value)}" if line.basis else ""]
    if answer is not None:
        reason = plain_reason(answer) or answer.reason
        told.insert(0, f"{CALL_WORDS[answer.call]}: {reason}")
    if line.middle is not None:
        late = day(line.late, zone) if line.late else "after the season"
        told.append(f"done by {day(line.middle, zone)} in half of the scenarios, {late} in 90 %")
    if line.appointment is not None:
        kept = {True: "kept", False: "NOT kept", None: "open"}[line.kept]
        told.append(f"{words(line.who)} {clock(line.appointment, zone)}: {kept}")
    told.append("Local codes, the engineer of record and licensed trades decide.")
    firm = line.basis is Basis.FORECAST
    return {
        "summary": _line(line.name),
        "description": "\n".join(_line(text) for text in told if text),
        "location": _line(job.site.name),
        "status": "CONFIRMED" if firm else "TENTATIVE",
    }


def _next(
    last: Told | None, start: datetime, end: datetime, texts: Mapping[str, str], now: datetime
) -> Told:
    """Return the event as it was told, or one number on where it says something else."""
    hours = (start.isoformat(), end.isoformat())
    saying = sha256(json.dumps([*hours, dict(texts)], sort_keys=True).encode()).hexdigest()
    if last is not None and last.saying == saying and not last.cancelled:
        return last
    number = 0 if last is None else last.sequence + 1
    return Told(number, saying, now.isoformat(), *hours)


def _cancelled(last: Told, now: datetime) -> Told:
    return Told(last.sequence + 1, "", now.isoformat(), last.start, last.end, cancelled=True)


def _event(uid: str, told: Told, texts: Mapping[str, str]) -> Event:
    event = Event()
    event.add("uid", uid)
    event.add("dtstamp", datetime.fromisoformat(told.stamped))
    event.add("last-modified", datetime.fromisoformat(told.stamped))
    event.add("sequence", told.sequence)
    event.add("dtstart", datetime.fromisoformat(told.start))
    event.add("dtend", datetime.fromisoformat(told.end))
    for name, text in texts.items():
        event.add(name, text)
    return event


def _line(text: str) -> str:
    """Return a text on one line: a name cannot end a property and begin another."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
