"""Judging again between two messages, on what is kept, and what has changed since."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from scheduler.interfaces.messages import NewMessage, RunRow, Watched
from scheduler.output.letter import Letter, one_line
from scheduler.planning.model.job import Job, Recipient
from scheduler.planning.model.job_book import job_book
from scheduler.planning.model.log import Entry
from scheduler.planning.model.progress import progress_until
from scheduler.planning.reports.briefing import LINE
from scheduler.planning.reports.difference import Difference, difference
from scheduler.runs.brief import Morning, brief
from scheduler.runs.desk import Desk
from scheduler.runs.log import as_it_was
from scheduler.runs.plan import planned_of
from scheduler.service.cuts import Said
from scheduler.service.desks import Service
from scheduler.service.due import EVENING, LOOK, MORNING, REPLAN, quiet_until, source_names
from scheduler.service.letters import new_message
from scheduler.service.told import MANY, Change, after_telling, changes, dump, load, told

OF_WHOM: Final = {  # which changes a role is told of
    "whole": ("commitment", "appointment", "date"),
    "crew": ("commitment", "appointment"),
    "owner": ("date",),
    "inspector": ("commitment", "appointment"),
}
LAST: Final = 48  # runs of a kind that are looked through for what people were told


@dataclass(frozen=True, slots=True)
class Again:
    """A job judged again."""

    desk: Desk
    said: Said
    body: str  # how things stand as people know them from now on
    messages: tuple[NewMessage, ...]


def judged_again(
    service: Service, watched: Watched, job: Job, slot: str, now: datetime, *, position: int = -1
) -> Again:
    """Judge on what is kept; where nobody has been told anything yet there are no messages.

    ``position`` is the log's position of the pages before: an entry undone since then brings
    back the plan that was told before it.

    Raises
    ------
    CloseinError
        If the weather cannot be had or read.
    """
    before = last_told(service, job)
    desk = service.desk(watched, now, "kept")
    new = [one for one in desk.store.entries(job.id) if one.seq > position >= 0]
    made = brief(desk, told=as_it_was(desk, new))
    said = Said(made, desk.job, evening=False, notes=(), page=service.page)
    if before is None:  # a job just taken in: its pages are there before its first morning
        return Again(desk, said, "", ())
    was, is_now = load(before.body), told(made.today.answers, made.planned.answer)
    found = changes(job, was, is_now, made.today.answers, made.planned.answer)
    if quiet_until(job.messages, job.site.time_zone, now) is not None:
        found = tuple(change for change in found if change.urgent)
    messages = tuple(
        message for to in job.delivery for message in _messages(service, job, to, found, slot, now)
    )
    return Again(desk, said, dump(after_telling(was, is_now, found)), messages)


def moved_by(
    desk: Desk, made: Morning, position: int
) -> tuple[tuple[Entry, ...], Difference | None]:
    """Return what was written down after a log position, and what it moved on the same weather.

    None where nothing was written down after it.
    """
    entries = desk.store.entries(desk.job.id)
    new = tuple(entry for entry in entries if entry.seq > position)
    if not new:
        return (), None
    gathered = made.today.gathered
    earlier = tuple(entry for entry in entries if entry.seq <= position)
    without = gathered.having(progress_until(earlier, desk.now))
    before = planned_of(desk, without, made.climate, job_book(desk.job), compared=True)
    return new, difference(before.answer, made.planned.answer, desk.job, new)


def last_told(service: Service, job: Job) -> RunRow | None:
    """Return the newest run that says what people were told; None where none does."""
    kinds = (MORNING, EVENING, REPLAN, *(f"{LOOK}:{name}" for name in source_names(job)))
    rows = [
        row for kind in kinds for row in service.store.runs.last(job.id, kind, LAST) if row.body
    ]
    return max(rows, key=lambda row: row.done_at or row.begun_at, default=None)


def _messages(
    service: Service,
    job: Job,
    to: Recipient,
    found: Sequence[Change],
    slot: str,
    now: datetime,
) -> list[NewMessage]:
    """Return one message for each change that is a person's business, or one for many."""
    own = [change for change in found if _is_for(job, to, change)]
    if len(own) > MANY:
        letters = [("many", f"{len(own)} changes", [change.line for change in own])]
    else:
        letters = [(change.key, change.line, [change.line]) for change in own]
    return [
        new_message(
            service,
            job,
            to,
            Letter(one_line(f"Changed: {head}"), _text(job, lines, short=to.short)),
            kind=f"alert:{key}",
            day=slot,
            at=now,
        )
        for key, head, lines in letters
    ]


def _is_for(job: Job, to: Recipient, change: Change) -> bool:
    kind, _, task = change.key.partition(":")
    if kind not in OF_WHOM[to.gets]:
        return False
    return to.gets != "crew" or to.crew in job.task(task).crew


def _text(job: Job, lines: Sequence[str], *, short: bool) -> str:
    if short:
        return f"{job.name}: {'; '.join(lines)}"
    return "\n".join([job.name, "", *lines, "", "People's safety first.", LINE, ""])
