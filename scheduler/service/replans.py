"""Planning again at once when something was written down, and what that moved.

What is due is decided from the store: the log is longer than what the newest page was made from.
So a crash between the entry and the new plan loses nothing; whoever comes next plans.
"""

from __future__ import annotations

import logging
from typing import Final

from rules.errors import CloseinError, StoreFault
from scheduler.interfaces.messages import Watched
from scheduler.planning.model.job import Job
from scheduler.runs.desk import AGAIN, keep_answer
from scheduler.service.breaking import TRIES, let_go
from scheduler.service.clock_watch import check_not_set_back
from scheduler.service.desks import Service
from scheduler.service.due import REPLAN, free_slot, is_taken
from scheduler.service.judging import judged_again, moved_by
from scheduler.service.messages import BUG, Overtaken, keep_brief
from scheduler.service.page_parts import PAGE, moved_told, page_parts

LOG: Final = logging.getLogger("closein.replans")


def behind(service: Service, job: str) -> tuple[int, int] | None:
    """Return the position of the newest page's log and the log's length, where it is behind."""
    last = service.store.last_decision(job, PAGE)
    if last is None:
        return None  # no morning has been made yet: the first one plans
    length = service.store.log_length(job)
    return (last[2], length) if length > last[2] else None


def why_behind(service: Service, job: str, position: int) -> str:
    """Return why pages lack what was written down last; empty where they do not.

    ``position`` is the number of the last log entry that they were made from.
    """
    length = service.store.log_length(job)
    if length <= position:
        return ""
    slot = free_slot(REPLAN, str(length), service.store.runs.ahead(job))
    rows = service.store.runs.begun(job, [(REPLAN, slot)])
    failed = [row.told for row in rows if row.done_at is not None and row.told]
    if failed:
        return f"What was written down last is not in this plan: {failed[0]}"
    return "What was written down last is being planned; this is the plan without it"


def replan_due(service: Service) -> None:
    """Plan every job again whose log is longer than its newest page knows."""
    for watched in service.store.runs.watched():
        try:
            _replan_due(service, watched)
        except Exception:  # one job's trouble must not keep another from its plan
            LOG.exception("replan failed", extra={"job": watched.job})


def _replan_due(service: Service, watched: Watched) -> None:
    found = behind(service, watched.job)
    if found is None:
        return
    now = service.clock()
    slot = free_slot(REPLAN, str(found[1]), service.store.runs.ahead(watched.job))
    rows = service.store.runs.begun(watched.job, [(REPLAN, slot)])
    if any(is_taken(row, now) for row in rows):
        return
    claim = service.store.runs.claim(
        watched.job, REPLAN, slot, now=now, until=now + service.leases.run
    )
    if claim:
        _replan(service, watched, found[0], slot, claim)


def _replan(service: Service, watched: Watched, position: int, slot: str, claim: str) -> None:
    own = {"job": watched.job, "kind": REPLAN, "slot": slot}
    try:
        with service.work:
            _replanned(service, watched, service.job(watched), position, slot, claim)
    except Overtaken:
        LOG.warning("run overtaken", extra=own)
    except StoreFault as fault:  # it may pass
        LOG.error("run failed", extra={**own, "told": str(fault)})
        _broke_off(service, watched, slot, claim, str(fault))
    except CloseinError as error:
        _failed(service, watched, slot, claim, "; ".join(error.lines()))
    except Exception:
        LOG.exception("run failed", extra=own)
        _broke_off(service, watched, slot, claim, BUG)
    else:
        LOG.info("run done", extra=own)


def _replanned(
    service: Service, watched: Watched, job: Job, position: int, slot: str, claim: str
) -> None:
    now = service.clock()
    again = judged_again(service, watched, job, f"log-{slot}", now, position=position)
    entries, moved = moved_by(again.desk, again.said.morning, position)
    told = None if moved is None else moved_told(moved, entries, again.desk.job, now)
    shown = page_parts(again.said, moved=told)
    check_not_set_back(service, now)
    with service.store.together():
        service.store.outbox.queue(again.messages, now=now, at=now)
        keep_brief(again.desk, again.said.morning, kind=AGAIN)
        keep_answer(again.desk, again.said.morning.today.gathered, PAGE, shown)
        if not service.store.runs.finish(
            watched.job, REPLAN, slot, claim, now=now, told="", body=again.body
        ):
            raise Overtaken


def _broke_off(service: Service, watched: Watched, slot: str, claim: str, why: str) -> None:
    """Let a replan go; the last try writes down, for people, that the plan lacks the entry."""
    if let_go(service, watched.job, REPLAN, slot, claim) >= TRIES:
        _failed(service, watched, slot, claim, why)


def _failed(service: Service, watched: Watched, slot: str, claim: str, why: str) -> None:
    LOG.warning("replan", extra={"job": watched.job, "kind": REPLAN, "told": why})
    service.store.runs.finish(
        watched.job, REPLAN, slot, claim, now=service.clock(), told=why, body=""
    )
