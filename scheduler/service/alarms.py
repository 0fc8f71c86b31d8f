"""What people must know of the service itself: messages that did not arrive, clocks, runs."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from scheduler.interfaces.messages import CLOCK, Message
from scheduler.interfaces.protocols import Store
from scheduler.planning.model.job import Job
from scheduler.service.due import LOOK, source_names

TOLD_FOR: Final = timedelta(hours=24)  # a jump of the clock, in messages and on pages
BROKE_OFF: Final = "broke off at every try:"  # begins what a run says that did
NOTES: Final = 5  # jumps of one job that are looked through


def alarms_told(store: Store, job: str, now: datetime) -> tuple[str, ...]:
    """Return the alarms of a job as people read them."""
    return (*clock_lines(store, job, now), *alarm_lines(store.outbox.alarms(job)))


def look_lines(store: Store, job: Job) -> tuple[str, ...]:
    """Return the sources whose last look broke off at every try."""
    last = {name: store.runs.last(job.id, f"{LOOK}:{name}") for name in source_names(job)}
    return tuple(
        f"Alarm: the look at {name} {rows[0].told}"
        for name, rows in last.items()
        if rows and rows[0].told.startswith(BROKE_OFF)
    )


def clock_lines(store: Store, job: str, now: datetime) -> tuple[str, ...]:
    """Return the jumps of the clock that people are still told of."""
    rows = store.runs.last(job, CLOCK, NOTES)
    return tuple(f"Alarm: {row.told}" for row in rows if abs(now - row.begun_at) < TOLD_FOR)


def alarm_lines(alarms: Sequence[Message]) -> tuple[str, ...]:
    """Return what did not arrive, or may not have, as people read it."""
    words = {"in_doubt": "may not have arrived and was not sent again", "given_up": "was not sent"}
    return tuple(
        f"Alarm: the {one.kind.partition(':')[0]} message of {one.day} to {one.recipient} "
        f"{words[one.step.value]} ({one.told})"
        for one in alarms
    )
