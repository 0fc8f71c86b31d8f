"""A morning or an evening: decide on what there is, queue every person's cut, all at once."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from rules.errors import CloseinError, StoreFault
from scheduler.interfaces.messages import Watched
from scheduler.output.answer_json import dump as dump_json
from scheduler.output.brief_message import brief_document
from scheduler.output.calendar_feed import told_text
from scheduler.output.letter import Letter
from scheduler.output.words import clock
from scheduler.planning.model.job import Job, Recipient
from scheduler.planning.reports.briefing import LINE
from scheduler.runs.brief import Morning, brief
from scheduler.runs.calendar import CALENDAR, feed_before
from scheduler.runs.desk import AGAIN, Desk, keep_answer
from scheduler.service.alarms import alarms_told, look_lines
from scheduler.service.clock_watch import check_not_set_back
from scheduler.service.cuts import Said, cut, feed_of
from scheduler.service.desks import Service
from scheduler.service.due import EVENING, MORNING, Due, day_of, missed_days
from scheduler.service.letters import kind_of, new_message
from scheduler.service.page_parts import PAGE, page_parts
from scheduler.service.told import dump, told

BRIEF: Final = "brief"  # kind of the answer kept
BUG: Final = "an error of Closein's own, see its log; report it with the store's last answer"
LOG: Final = logging.getLogger("closein.messages")
TOLD: Final = (BRIEF, AGAIN)  # kinds that hold calls and plan as people are told them


class Overtaken(Exception):
    """Another process has taken the run over; nothing of it is written."""


def message_run(service: Service, watched: Watched, job: Job, one: Due, claim: str) -> None:
    """Make a morning or an evening and queue it; answer, messages and run stand or fall together.

    Raises
    ------
    Overtaken
        If another process has it by now.
    """
    now = service.clock()
    alarms = (*alarms_told(service.store, job.id, now), *look_lines(service.store, job))
    notes = (*_late(one, job), *_missed(service, watched, job, one, now), *alarms)
    try:
        desk = service.desk(watched, now, "")
        made = brief(desk)
    except StoreFault:  # it may pass: tried again, and told the third time
        raise
    except CloseinError as error:
        fault_run(service, job, one, claim, error.lines(), notes)
        return
    said = Said(
        made, desk.job, one.kind == EVENING, notes, service.page, calendar=feed_before(desk)
    )
    letters = [(to, _own_cut(said, to, one, now)) for to in desk.job.delivery]
    new = [
        new_message(service, job, to, letter, kind=kind_of(one.kind, to), day=one.slot, at=now)
        for to, letter in letters
        if letter is not None
    ]
    body = dump(told(made.today.answers, made.planned.answer))
    shown = page_parts(said)
    check_not_set_back(service, now)
    with service.store.together():
        keep_brief(desk, made)
        keep_answer(desk, made.today.gathered, PAGE, shown)
        keep_answer(
            desk, made.today.gathered, CALENDAR, told_text(feed_of(said, said.calendar)[1])
        )
        service.store.outbox.queue(new, now=now, at=now)
        _finish(service, job.id, one, claim, now, "", body)


def _own_cut(said: Said, to: Recipient, one: Due, now: datetime) -> Letter | None:
    """Return a person's letter; one that cannot be written says so, and the others get theirs."""
    try:
        return cut(said, to)
    except Exception:  # one person's cut must not keep the others from theirs
        LOG.exception("letter failed", extra={"job": said.job.id, "kind": kind_of(one.kind, to)})
        return _unknown_letter(said.job, now, [BUG, *said.notes])


def _unknown_letter(job: Job, now: datetime, lines: Sequence[str]) -> Letter:
    """Return what is told where nothing is known, and why."""
    day = f"{now.astimezone(ZoneInfo(job.site.time_zone)):%a}"
    subject = f"{day}: nothing is known, treat everything as no-go"
    why = [f"{job.name} could not be judged:", *lines, "", LINE]
    return Letter(subject, "\n".join([subject, "", *why, ""]))


def _late(one: Due, job: Job) -> tuple[str, ...]:
    if not one.late:
        return ()
    return (
        f"Late: due {clock(one.at, job.site.time_zone)}; the service did not get to it in time",
    )


def _missed(
    service: Service, watched: Watched, job: Job, one: Due, now: datetime
) -> tuple[str, ...]:
    if one.kind != MORNING:
        return ()
    before = service.store.runs.last(job.id, MORNING)
    last = day_of(before[0].slot) if before else None
    days = missed_days(job, since=watched.since, last=last, now=now)
    told_days = ", ".join(f"{day:%a %-d %b}" for day in days)
    return (f"No morning message was made on {told_days}",) if days else ()


def keep_brief(desk: Desk, made: Morning, *, kind: str = BRIEF) -> None:
    """Keep calls and plan as people are told them; the next plan keeps to them where it can."""
    document = brief_document(made.brief, made.planned.answer, ())
    keep_answer(desk, made.today.gathered, kind, dump_json(document, desk.job.site.time_zone))


def _finish(
    service: Service, job: str, one: Due, claim: str, now: datetime, why: str, body: str
) -> None:
    done = service.store.runs.finish(job, one.kind, one.slot, claim, now=now, told=why, body=body)
    if not done:
        raise Overtaken


def fault_run(
    service: Service,
    job: Job,
    one: Due,
    claim: str,
    lines: Sequence[str],
    notes: Sequence[str] = (),
) -> None:
    """Tell everyone that nothing is known, and why: silence would read as 'as yesterday'.

    Raises
    ------
    Overtaken
        If another process has the run by now.
    """
    now = service.clock()
    letter = _unknown_letter(job, now, [*lines, *notes])
    new = [
        new_message(service, job, to, letter, kind=kind_of(one.kind, to), day=one.slot, at=now)
        for to in job.delivery
    ]
    with service.store.together():
        service.store.outbox.queue(new, now=now, at=now)
        _finish(service, job.id, one, claim, now, "; ".join(lines), "")
