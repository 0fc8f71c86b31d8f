"""Runs that broke off: their slot is free again, at once or when the store takes word of it."""

from __future__ import annotations

import logging
from typing import Final

from rules.errors import StoreFault
from scheduler.service.desks import Service

LOG: Final = logging.getLogger("closein.rounds")
TRIES: Final = 3


def let_go(service: Service, job: str, kind: str, slot: str, claim: str) -> int:
    """Let others begin a run that broke off; return how often it was begun, 0: not known.

    Where the store cannot be written it is remembered, and done at the next beat that can.
    """
    try:
        return service.store.runs.let_go(job, kind, slot, claim, now=service.clock())
    except StoreFault as fault:
        own = {"job": job, "kind": kind, "slot": slot, "told": str(fault)}
        LOG.error("run not let go", extra=own)
        service.beats.broken.append((job, kind, slot, claim))
        return 0


def let_go_broken(service: Service) -> None:
    """Let go what could not be let go when it broke off."""
    kept, service.beats.broken[:] = list(service.beats.broken), []
    for one in kept:
        let_go(service, *one)
