"""How the service is: fit, or what is wrong with it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from rules.errors import CloseinError
from scheduler.interfaces import Store
from scheduler.planning.job import Job
from scheduler.planning.messages import Watched
from scheduler.service.alarms import clock_lines
from scheduler.service.due import overdue, slots

TRIED: Final = 3  # so often in vain is no hiccup: about eight minutes by the back-off


@dataclass(frozen=True, slots=True)
class Health:
    """What a machine asks (``fit``) and what a person reads (``lines``), one for each fault."""

    fit: bool
    lines: tuple[str, ...]
    jobs: int
    alarms: int  # messages in doubt or given up that nobody has taken note of, jumps of the clock


def health(store: Store, now: datetime, *, job: Callable[[Watched], Job]) -> Health:
    """Return how the service is; it is unfit where a morning run is overdue.

    Parameters
    ----------
    store : Store
    now : datetime
        UTC.
    job : callable
        The job of a watched file.
    """
    lines: list[str] = []
    try:
        watched = store.runs.watched()
        for one in watched:
            lines += _faults(store, one, now, job)
        lines += _waiting(store)
        alarms = len(store.outbox.alarms())
        alarms += sum(len(clock_lines(store, one.job, now)) for one in watched)
    except CloseinError as error:
        return Health(fit=False, lines=tuple(error.lines()), jobs=0, alarms=0)
    return Health(fit=not lines, lines=tuple(lines), jobs=len(watched), alarms=alarms)


def _waiting(store: Store) -> list[str]:
    stuck = [m for m in store.outbox.waiting() if m.tries >= TRIED]
    if not stuck:
        return []
    last = max(stuck, key=lambda message: message.changed_at)
    return [f"{len(stuck)} messages wait after {TRIED} tries and more; the last said: {last.told}"]


def _faults(
    store: Store, watched: Watched, now: datetime, job: Callable[[Watched], Job]
) -> list[str]:
    try:
        found = job(watched)
    except CloseinError as error:
        return [f"{watched.job}: {line}" for line in error.lines()]
    ahead = store.runs.ahead(found.id)
    begun = store.runs.begun(found.id, slots(found, now, ahead))
    if overdue(found, since=watched.since, done=begun, now=now, ahead=ahead):
        return [f"{watched.job}: the morning run is overdue"]
    return []
