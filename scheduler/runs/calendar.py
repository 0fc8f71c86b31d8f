"""What the calendar feed of a job said last, so that the next one updates it."""

from __future__ import annotations

from scheduler.runs.desk import Desk

CALENDAR = "calendar"  # the kind under which it is kept


def feed_before(desk: Desk) -> str:
    """Return what the newest feed said that there was by the desk's moment; {} without any."""
    kept = desk.store.decisions(desk.job.id, kind=CALENDAR, until=desk.now, last=1)
    return kept[-1].answer.decode() if kept else "{}"
