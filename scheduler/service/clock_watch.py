"""The clock is watched: where it ran ahead, what it made does not count; a jump is an alarm.

A clock that was set back is seen in the store, by runs of a time that has not come, also after a
restart. One that jumps ahead is seen only against the time that really passed between two beats.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

from scheduler.interfaces.messages import CLOCK, RunRow, Watched
from scheduler.output.letter import Letter
from scheduler.output.words import clock as clock_words
from scheduler.planning.model.job import Job
from scheduler.planning.reports.briefing import LINE
from scheduler.service.desks import Service
from scheduler.service.due import AHEAD, EVENING, MORNING, day_of
from scheduler.service.letters import new_message

LOG: Final = logging.getLogger("closein.clock")


class SetBack(Exception):
    """The clock was set back while a run was under way; nothing of it is written."""


def note_jump(
    service: Service, watched: Watched, job: Job, now: datetime, jump: timedelta
) -> Watched:
    """Write a jump of the clock down, and take what was made ahead of time out of the way."""
    ahead = service.store.runs.ahead(job.id)
    later = [
        row
        for row in service.store.runs.later_than(job.id, now + AHEAD)
        if row.kind != CLOCK and (row.kind, row.slot) not in ahead
    ]
    if later or jump < -AHEAD:
        _set_back(service, job, now, later)
    elif jump > AHEAD:
        hours = jump.total_seconds() / 3600.0
        told = f"the service's clock jumped {hours:.1f} h ahead, or its machine slept: see dates"
        _write(service, job, now, told, later)
    if watched.since - now <= AHEAD:
        return watched
    watched = replace(watched, since=now)
    service.store.runs.watch(watched)
    return watched


def check_not_set_back(service: Service, began: datetime) -> None:
    """Refuse to write down a run that was begun in a time that has not come.

    Raises
    ------
    SetBack
        If the clock was set back since the run began.
    """
    if began - service.clock() > AHEAD:
        raise SetBack(f"begun at {began.isoformat()}")


def _set_back(service: Service, job: Job, now: datetime, later: Sequence[RunRow]) -> None:
    at = clock_words(now, job.site.time_zone)
    told = f"the service's clock ran ahead, set back to {at}: what it made then does not count"
    text = _text(service, job, told, later, now)
    letter = Letter("The clock was wrong: newer messages do not count", text)
    new = [
        new_message(service, job, to, letter, kind=CLOCK, day=now.isoformat(), at=now)
        for to in job.delivery
        if later
    ]
    with service.store.together():
        service.store.outbox.void(job.id, after=now + AHEAD, now=now, told=told)
        _write(service, job, now, told, later)
        service.store.outbox.queue(new, now=now, at=now)


def _text(service: Service, job: Job, told: str, later: Sequence[RunRow], now: datetime) -> str:
    sent = [
        f"- the {row.kind} of {day_of(row.slot):%a %-d %b}"
        for row in later
        if row.kind in {MORNING, EVENING}
    ]
    entries = service.store.entries(job.id)
    count = sum(entry.entered_at - now > AHEAD for entry in entries)
    log = [f"Entries of the log with a time to come: {count}. Write them again."] if count else []
    return "\n".join([job.name, "", f"Alarm: {told}.", *sent, *log, "", LINE, ""])


def _write(service: Service, job: Job, now: datetime, told: str, later: Sequence[RunRow]) -> None:
    runs, slot = service.store.runs, now.isoformat()
    claim = runs.claim(job.id, CLOCK, slot, now=now, until=now)
    body = json.dumps([[row.kind, row.slot] for row in later])
    runs.finish(job.id, CLOCK, slot, claim, now=now, told=told, body=body)
    LOG.error("clock", extra={"job": job.id, "told": told})
