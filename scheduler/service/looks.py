"""A look at one source: keep what is new, judge again what people act on, tell what changed."""

from __future__ import annotations

import logging
from datetime import datetime, timedelta
from typing import Final

from rules.errors import CloseinError
from scheduler.interfaces.messages import Watched
from scheduler.planning.model.job import Job
from scheduler.runs.desk import AGAIN, Desk, identity, keep_answer
from scheduler.service.clock_watch import check_not_set_back
from scheduler.service.desks import Service
from scheduler.service.due import Due
from scheduler.service.judging import Again, judged_again
from scheduler.service.messages import Overtaken, keep_brief
from scheduler.service.page_parts import PAGE, page_parts, parts_before

RENEWED: Final = timedelta(hours=3)  # pages that say the same; else a season fills the disk
LOG: Final = logging.getLogger("closein.looks")


def look_run(service: Service, watched: Watched, job: Job, one: Due, claim: str) -> None:
    """Ask a source; on a new forecast judge again, queue what has changed, renew the pages.

    Raises
    ------
    Overtaken
        If another process has it by now.
    """
    now = service.clock()
    files = {source.name: source.file for source in job.sources if source.file}
    desk = service.desk(watched, now, files.get(one.source, one.source))
    new, absent = _kept(desk)
    again: Again | None = None
    if new:
        try:
            again = judged_again(service, watched, job, one.slot, now)
        except CloseinError as error:
            absent = (*absent, *error.lines())
    shown = "" if again is None else _page(again, now)
    check_not_set_back(service, now)
    with service.store.together():
        if again is not None:
            service.store.outbox.queue(again.messages, now=now, at=now)
        if again is not None and shown:
            keep_brief(again.desk, again.said.morning, kind=AGAIN)
            keep_answer(again.desk, again.said.morning.today.gathered, PAGE, shown)
        finish = service.store.runs.finish
        body = "" if again is None else again.body
        if not finish(
            job.id, one.kind, one.slot, claim, now=now, told="; ".join(absent), body=body
        ):
            raise Overtaken
    if absent:
        LOG.warning("look", extra={"job": job.id, "source": one.source, "told": "; ".join(absent)})


def _page(again: Again, now: datetime) -> str:
    """Return new pages where a call has changed or the old ones are some hours old, else ""."""
    before = parts_before(again.desk)
    brief = again.said.morning.brief
    age = None if before is None else now - datetime.fromisoformat(before["made"])
    if before is not None and age is not None and timedelta(0) <= age < RENEWED:
        calls = [(answer.task, answer.call.value) for answer in brief.acting]
        shown = [(row["task"], row["kind"]) for row in before["today"]["rows"]]
        if calls == shown and brief.subject == before["today"]["subject"]:
            return ""
    return page_parts(again.said, before=before)


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
