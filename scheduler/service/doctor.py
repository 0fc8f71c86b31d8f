"""What is wrong with an installation, and what would be right. Looks, and changes nothing."""

from __future__ import annotations

import locale
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfoNotFoundError

from rules.errors import CloseinError
from scheduler.interfaces.messages import Watched
from scheduler.interfaces.people import Role
from scheduler.planning.model.job import Job
from scheduler.service.desks import Service
from scheduler.service.health import health_of, room_mb

ROOM_MB: Final = 500  # common practice, no source
BUILT: Final = datetime(2026, 11, 1, tzinfo=UTC)  # a clock before that is wrong


@dataclass(frozen=True, slots=True)
class Look:
    """One thing looked at."""

    what: str
    fine: bool
    says: str  # how it is; where it is wrong, what would be right


def doctor(service: Service, *, network: bool) -> Iterator[Look]:
    """Yield what was looked at, one after the other.

    Parameters
    ----------
    network : bool
        Whether mail server and weather sources are asked; nothing is sent.
    """
    yield _store(service)
    yield _room(service)
    yield _clock(service)
    yield _words()
    yield _fonts()
    yield from _mail(service, network=network)
    yield _accounts(service)
    watched = service.store.runs.watched()
    if not watched:
        yield Look("jobs", fine=False, says="none is looked after; closein serve JOB.yaml")
    for one in watched:
        yield from _job(service, one, network=network)
    if watched:
        found = health_of(service)
        yield Look("service", fine=found.fit, says="; ".join(found.lines) or "fit")
    alarms = service.store.outbox.alarms()
    says = f"{len(alarms)} not taken note of; closein messages --alarms" if alarms else "none"
    yield Look("alarms", fine=not alarms, says=says)


def _store(service: Service) -> Look:
    faults = service.store.verify()
    says = faults[0] if faults else "every record follows from the one before"
    return Look("store", fine=not faults, says=says)


def _accounts(service: Service) -> Look:
    """Links do without an account, so that none is there is told and is no fault."""
    open_ones = [one for one in service.store.people.accounts() if not one.closed]
    owners = sum(one.role is Role.OWNER for one in open_ones)
    says = f"{len(open_ones)} open, {owners} of them an owner's"
    return Look("accounts", fine=True, says=says if owners else f"{says}; closein account NAME")


def _room(service: Service) -> Look:
    free = room_mb(service.store)
    if free is None:
        return Look("disk", fine=True, says="the store is no file here")
    says = (
        f"{free} MB free" if free >= ROOM_MB else f"{free} MB free; make room, {ROOM_MB} at least"
    )
    return Look("disk", fine=free >= ROOM_MB, says=says)


def _clock(service: Service) -> Look:
    now = service.clock()
    fine = now >= BUILT
    says = f"{now:%Y-%m-%d %H:%M}Z" + ("" if fine else "; set the clock, or use a time service")
    return Look("clock", fine=fine, says=says)


def _words() -> Look:
    encoding = locale.getpreferredencoding(False)
    fine = encoding.lower().replace("-", "") == "utf8"
    says = encoding if fine else f"{encoding}; set LANG=C.UTF-8, else ° and × are lost"
    return Look("locale", fine=fine, says=says)


def _fonts() -> Look:
    from matplotlib import font_manager

    try:
        found = Path(font_manager.findfont("DejaVu Sans", fallback_to_default=False))
    except ValueError as error:
        return Look("font", fine=False, says=f"{error}; install matplotlib again")
    return Look("font", fine=True, says=found.name)


def _mail(service: Service, *, network: bool) -> Iterator[Look]:
    if "mail" not in service.senders:
        yield Look("mail", fine=False, says="no server is set; set CLOSEIN_SMTP_HOST and _FROM")
    for channel, sender in service.senders.items():
        trouble = sender.check() if network else ""
        reached = "can be handed over" if network else "is set"
        yield Look(channel, fine=not trouble, says=trouble or reached)


def _job(service: Service, watched: Watched, *, network: bool) -> Iterator[Look]:
    what = f"job {watched.job}"
    try:
        job = service.job(watched)
        desk = service.desk(watched, service.clock(), "")
    except (CloseinError, ZoneInfoNotFoundError) as error:
        lines = error.lines() if isinstance(error, CloseinError) else [str(error)]
        yield from (Look(what, fine=False, says=line) for line in lines)
        return
    yield Look(what, fine=True, says=watched.file)
    yield from _people(job, what, service)
    if network:
        yield _source(desk.weather, what)


def _people(job: Job, what: str, service: Service) -> Iterator[Look]:
    if not job.delivery:
        yield Look(what, fine=False, says="nobody gets its messages; name people in delivery:")
    for channel in sorted({to.channel for to in job.delivery} - set(service.senders)):
        wanted = "CLOSEIN_SMTP_HOST" if channel == "mail" else "CLOSEIN_TEXT_WEBHOOK"
        yield Look(what, fine=False, says=f"no way to send {channel}; set {wanted}")
    if not job.on_call:
        yield Look(what, fine=False, says="nobody is on call; name a person in on_call:")


def _source(weather: Callable[[], object], what: str) -> Look:
    came = weather()
    answers, absent = getattr(came, "answers", ()), getattr(came, "absent", ())
    names = ", ".join(answer.source for answer in answers)
    if absent:
        return Look(f"{what}, weather", fine=bool(answers), says="; ".join(absent))
    return Look(f"{what}, weather", fine=bool(answers), says=names or "no source is set")
