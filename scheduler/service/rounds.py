"""One round of the service: what is due of every job is done once, then what waits is sent."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence
from datetime import timedelta
from typing import Final

from rules.errors import CloseinError, StoreFault
from scheduler.interfaces.messages import Watched
from scheduler.planning.model.job import Job
from scheduler.service.alarms import BROKE_OFF
from scheduler.service.breaking import TRIES, let_go, let_go_broken
from scheduler.service.clock_watch import note_jump
from scheduler.service.desks import Service
from scheduler.service.due import EVENING, LOOK, MORNING, Due, due, slots
from scheduler.service.health import look_on
from scheduler.service.looks import look_run
from scheduler.service.messages import BUG, Overtaken, fault_run, message_run
from scheduler.service.sending import send_due

LOG: Final = logging.getLogger("closein.rounds")
RunKind = Callable[[Service, Watched, Job, Due, str], None]
RUNS: Final[Mapping[str, RunKind]] = {MORNING: message_run, EVENING: message_run, LOOK: look_run}


def round_of(service: Service) -> None:
    """Do what is due. A job's trouble is its own: it is logged, and the next job has its turn."""
    let_go_broken(service)
    look_on(service)
    steady = service.steady
    jump = timedelta(0) if steady is None else service.beats.jump(service.clock(), steady())
    for watched in service.store.runs.watched():
        try:
            any_due = _runs(service, watched, service.job(watched), jump)
        except CloseinError as error:
            LOG.error(
                "job file or store", extra={"job": watched.job, "told": "; ".join(error.lines())}
            )
        except Exception:  # one job's bug must not keep five hundred others from their morning
            LOG.exception("round failed", extra={"job": watched.job})
        else:
            if any_due:
                _send(service)
    _send(service)


def _runs(service: Service, watched: Watched, job: Job, jump: timedelta) -> bool:
    """Do the runs of one job that are due; tell whether there were any."""
    now, runs = service.clock(), service.store.runs
    watched = note_jump(service, watched, job, now, jump)
    ahead = runs.ahead(job.id)
    begun = runs.begun(job.id, slots(job, now, ahead))
    wanted = due(job, since=watched.since, done=begun, now=now, ahead=ahead)
    for one in wanted:
        claim = runs.claim(
            job.id, one.kind, one.slot, now=now, until=service.clock() + service.leases.run
        )
        if claim:
            _run(service, watched, job, one, claim)
    return bool(wanted)


def _run(service: Service, watched: Watched, job: Job, one: Due, claim: str) -> None:
    """Do one run. One that breaks off is begun again at the next beat, and told at last."""
    own = {"job": job.id, "kind": one.kind, "slot": one.slot}
    try:
        with service.work:
            RUNS[one.kind.partition(":")[0]](service, watched, job, one, claim)
    except Overtaken:
        LOG.warning("run overtaken", extra=own)
    except StoreFault as fault:  # it may pass
        LOG.error("run failed", extra={**own, "told": str(fault)})
        _broke_off(service, job, one, claim, fault.lines())
    except Exception:  # one job's bug must not keep five hundred others from their morning
        LOG.exception("run failed", extra=own)
        _broke_off(service, job, one, claim, [BUG])
    else:
        LOG.info("run done", extra={**own, "late": one.late})


def _broke_off(service: Service, job: Job, one: Due, claim: str, why: Sequence[str]) -> None:
    """Let a run go; the last try tells people of it, or of a look writes down that it failed."""
    if let_go(service, job.id, one.kind, one.slot, claim) < TRIES:
        return
    if one.source:
        told = f"{BROKE_OFF} {'; '.join(why)}"
        finish, now = service.store.runs.finish, service.clock()
        finish(job.id, one.kind, one.slot, claim, now=now, told=told, body="")
        return
    try:
        fault_run(service, job, one, claim, why)
    except Overtaken:
        LOG.warning("run overtaken", extra={"job": job.id, "kind": one.kind, "slot": one.slot})


def _send(service: Service) -> None:
    """Send what is due; what stands in the way stays in the outbox, where health finds it."""
    try:
        send_due(service.store, service.senders, clock=service.clock, leases=service.leases)
    except Exception:  # the outbox's trouble must not keep a job from its morning
        LOG.exception("sending failed")
