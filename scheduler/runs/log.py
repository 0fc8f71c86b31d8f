"""Write down what happened, then replan at once and say what moved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rules.book import load_book
from rules.errors import LogMoved, WeatherUnavailable
from scheduler.planning.log import Entry
from scheduler.planning.plan_job import Planned
from scheduler.planning.progress import progress_until
from scheduler.runs.desk import Desk, gather, keep
from scheduler.runs.plan import planned_of, with_climate

TRIES = 5  # how often another writer may come between reading the log and writing it


@dataclass(frozen=True, slots=True)
class Logged:
    """What was written, and the plan before and after it."""

    entries: tuple[Entry, ...]
    before: Planned | None
    after: Planned | None
    why_not: str = ""  # why there is no new plan


def log(desk: Desk, given: bytes | Sequence[Mapping[str, object]], *, replan: bool) -> Logged:
    """Take the entries, all or none, and plan with and without them on the same weather.

    Raises
    ------
    Faults
        If an entry cannot be taken; nothing is written then.
    StoreFault
        If the store cannot be used.
    """
    entries = _append(desk, given)
    if not replan:
        return Logged(entries, None, None)
    try:
        gathered = gather(desk, command="log")
    except WeatherUnavailable as error:  # what was logged stays logged
        return Logged(entries, None, None, why_not=str(error))
    gathered, climate = with_climate(desk, gathered)
    book = load_book(desk.job.book)
    after = planned_of(desk, gathered, climate, book)
    first = min(entry.seq for entry in entries)
    earlier = tuple(e for e in desk.store.entries(desk.job.name) if e.seq < first)
    without = progress_until(earlier, desk.now)
    before = planned_of(desk, gathered.having(without), climate, book)
    keep(desk, gathered)
    return Logged(entries, before, after)


def _append(desk: Desk, given: bytes | Sequence[Mapping[str, object]]) -> tuple[Entry, ...]:
    for _ in range(TRIES - 1):
        try:
            return _append_once(desk, given)
        except LogMoved:  # somebody else wrote meanwhile: check against the longer log
            continue
    return _append_once(desk, given)


def _append_once(desk: Desk, given: bytes | Sequence[Mapping[str, object]]) -> tuple[Entry, ...]:
    so_far = desk.store.entries(desk.job.name)
    entries = desk.take(given, so_far)
    last = so_far[-1].seq if so_far else 0
    return desk.store.append(desk.job.name, entries, entered_at=desk.now, after=last)
