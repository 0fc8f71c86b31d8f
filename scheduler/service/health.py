"""How the service is: fit, or what is wrong with it."""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from rules.errors import CloseinError, StoreFault
from scheduler.interfaces.messages import Message, Step, Watched
from scheduler.interfaces.protocols import Store
from scheduler.service.alarms import clock_lines
from scheduler.service.desks import Service
from scheduler.service.due import MORNING, overdue, slots

TRIED: Final = 3  # so often in vain is no hiccup: about eight minutes by the back-off
LEAST_MB: Final = 50  # below that the next day's answers may not fit; common practice, no source
LOOKED_THROUGH: Final = 100  # kept bytes a beat: a season's store in some hours
NO_JOB, BEAT = "", "beat"  # the run whose row every beat writes


@dataclass(frozen=True, slots=True)
class Health:
    """What a machine asks (``fit``) and what a person reads (``lines``), one for each fault."""

    fit: bool
    lines: tuple[str, ...]
    jobs: int
    alarms: int  # messages in doubt or given up that nobody has taken note of, jumps of the clock


def look_on(service: Service) -> None:
    """Find out what only trying shows: whether the store can be written, and some of its bytes."""
    beats, now = service.beats, service.clock()
    try:
        service.store.runs.claim(NO_JOB, BEAT, BEAT, now=now, until=now)
        beats.unwritten = ""
        found, last = service.store.damaged(after=beats.looked_through, count=LOOKED_THROUGH)
    except StoreFault as fault:
        beats.unwritten = str(fault)
        return
    beats.looked_through = last
    beats.damaged |= set(found)


def health_of(service: Service) -> Health:
    """Return how the service is; it is unfit where people may not be told what they wait for."""
    store, now = service.store, service.clock()
    lines = [line for line in (service.beats.unwritten, *sorted(service.beats.damaged)) if line]
    lines += _room(store)
    try:
        watched = store.runs.watched()
        if not watched:
            lines.append("no job is looked after; closein serve JOB.yaml")
        for one in watched:
            lines += _faults(service, one, now)
        lines += _held_up(service)
        open_alarms = store.outbox.alarms()
        lines += _given_up(open_alarms)
        jumps = sum(len(clock_lines(store, one.job, now)) for one in watched)
    except CloseinError as error:
        return Health(fit=False, lines=(*lines, *error.lines()), jobs=0, alarms=0)
    return Health(not lines, tuple(lines), len(watched), len(open_alarms) + jumps)


def room_mb(store: Store) -> int | None:
    """Return the room left where the store lies; None where it is no file here."""
    folder = Path(getattr(store, "name", "")).absolute().parent
    return shutil.disk_usage(folder).free // 1_000_000 if folder.is_dir() else None


def _room(store: Store) -> list[str]:
    free = room_mb(store)
    if free is None or free >= LEAST_MB:
        return []
    return [f"{free} MB free where the store lies; make room, {LEAST_MB} at least"]


def _held_up(service: Service) -> Iterator[str]:
    """Yield what keeps messages from leaving, now or for good."""
    waiting = service.store.outbox.waiting()
    for message in waiting:
        try:
            service.store.forecast_bytes(message.content)
        except StoreFault as fault:
            yield f"message {message.number} of {message.job} can never leave: {fault}"
    without = Counter(m.channel for m in waiting if m.channel not in service.senders)
    for channel, count in sorted(without.items()):
        waits = "1 message waits" if count == 1 else f"{count} messages wait"
        yield f"{waits} for {channel}, and no way to send it is set"
    stuck = [m for m in waiting if m.tries >= TRIED and m.channel in service.senders]
    if stuck:
        last = max(stuck, key=lambda message: message.changed_at)
        told = f"the last said: {last.told}"
        yield f"{len(stuck)} messages wait after {TRIED} tries and more; {told}"


def _given_up(alarms: tuple[Message, ...]) -> Iterator[str]:
    count = sum(alarm.step is Step.GIVEN_UP for alarm in alarms)
    if count:
        was = "message was" if count == 1 else "messages were"
        yield f"{count} {was} given up; closein messages --alarms"


def _faults(service: Service, watched: Watched, now: datetime) -> Iterator[str]:
    runs = service.store.runs
    try:
        job = service.job(watched)
    except CloseinError as error:
        yield from (f"{watched.job}: {line}" for line in error.lines())
        return
    ahead = runs.ahead(job.id)
    begun = runs.begun(job.id, slots(job, now, ahead))
    if overdue(job, since=watched.since, done=begun, now=now, ahead=ahead):
        yield f"{watched.job}: the morning run is overdue"
    for row in begun:
        if row.kind == MORNING and row.done_at is not None and row.told:
            yield f"{watched.job}: the morning knew nothing: {row.told}"
