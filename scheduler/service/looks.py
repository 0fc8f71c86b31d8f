"""A look at one source: keep what is new, judge again what people act on, tell what changed."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from datetime import datetime
from typing import Final

from rules.errors import CloseinError
from scheduler.output.letter import Letter, one_line
from scheduler.planning.briefing import LINE
from scheduler.planning.job import Job, Recipient
from scheduler.planning.messages import NewMessage, RunRow, Watched
from scheduler.runs.brief import brief
from scheduler.runs.desk import Desk, identity
from scheduler.service.desks import Service
from scheduler.service.due import EVENING, LOOK, MORNING, Due, quiet_until
from scheduler.service.messages import Overtaken, new_message
from scheduler.service.told import MANY, Change, after_telling, changes, dump, load, told

LOG: Final = logging.getLogger("closein.looks")
OF_WHOM: Final = {  # which changes a role is told of
    "whole": ("commitment", "appointment", "date"),
    "crew": ("commitment", "appointment"),
    "owner": ("date",),
    "inspector": ("commitment", "appointment"),
}


def look_run(service: Service, watched: Watched, job: Job, one: Due, claim: str) -> None:
    """Ask a source; on a new forecast judge again and queue what has changed.

    Raises
    ------
    Overtaken
        If another process has it by now.
    """
    now = service.clock()
    files = {source.name: source.file for source in job.sources if source.file}
    desk = service.desk(watched, now, files.get(one.source, one.source))
    new, absent = _kept(desk)
    body = ""
    messages: list[NewMessage] = []
    if new:
        try:
            body, messages = _judged(service, watched, job, one, now)
        except CloseinError as error:
            absent = (*absent, *error.lines())
    with service.store.together():
        service.store.outbox.queue(messages, now=now, at=now)
        finish = service.store.runs.finish
        if not finish(
            job.id, one.kind, one.slot, claim, now=now, told="; ".join(absent), body=body
        ):
            raise Overtaken
    if absent:
        LOG.warning("look", extra={"job": job.id, "source": one.source, "told": "; ".join(absent)})


def _kept(desk: Desk) -> tuple[bool, tuple[str, ...]]:
    """Keep what the source answers; tell whether it is new, and why it did not answer."""
    came = desk.weather()
    if came is None:
        return False, ()
    known = {row.identity for row in desk.store.forecasts_until(desk.job.id, desk.now)}
    for raw in came.answers:
        desk.store.keep_forecast(
            desk.job.id,
            raw.raw,
            role="weather",
            source=raw.source,
            issued_at=desk.parse(raw.source, raw.raw).provenance.issued_at,
            received_at=raw.received_at,
        )
    return any(identity(raw) not in known for raw in came.answers), came.absent


def _judged(
    service: Service, watched: Watched, job: Job, one: Due, now: datetime
) -> tuple[str, list[NewMessage]]:
    """Return how things stand as people know them from now on, and the messages that say so."""
    before = last_told(service, job)
    if before is None:
        return "", []  # nobody has been told anything yet
    made = brief(service.desk(watched, now, "kept"))
    was, is_now = load(before.body), told(made.today.answers, made.planned.answer)
    found = changes(job, was, is_now, made.today.answers, made.planned.answer)
    if quiet_until(job.messages, job.site.time_zone, now) is not None:
        found = tuple(change for change in found if change.urgent)
    messages = [
        message
        for to in job.delivery
        for message in _messages(service, job, to, found, one.slot, now)
    ]
    return dump(after_telling(was, is_now, found)), messages


def last_told(service: Service, job: Job) -> RunRow | None:
    """Return the newest run that says what people were told; None where none does."""
    sources = [source.name for source in job.sources] or ["nws"]
    kinds = (MORNING, EVENING, *(f"{LOOK}:{name}" for name in sources))
    rows = [row for kind in kinds for row in service.store.runs.last(job.id, kind, 48) if row.body]
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
