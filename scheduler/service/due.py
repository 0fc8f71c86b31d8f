"""What is due: a pure function of the job's rhythm, what was done, and the moment.

Runs hang on the job's local day, not on hours: a day of 23 or 25 hours has one morning. A local
time that the spring change skips is taken as many minutes after the change as it lies in the gap,
one that the autumn change repeats is taken the first time (PEP 495, fold 0).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from scheduler.interfaces.messages import RunRow
from scheduler.planning.model.job import Job, Rhythm, SourceChoice

MORNING: Final = "morning"
EVENING: Final = "evening"
LOOK: Final = "look"  # at one source: look:nws
REPLAN: Final = "replan"  # after something was written down; its slot is the log's length
LATE_AFTER: Final = timedelta(minutes=30)  # from then on messages and health say so
EVENING_KEEPS: Final = timedelta(hours=4)  # then people sleep, and the morning says it
# How often a source is asked. The national service's grid changes about hourly, global models
# every six hours (their own documentation); half of that is common practice, no source.
RHYTHMS: Final[Mapping[str, timedelta]] = {
    "nws": timedelta(hours=1),
    "hrrr": timedelta(hours=1),
    "hrrr-alaska": timedelta(hours=3),
    "hrrr-quarter-hours": timedelta(hours=1),
    "nbm": timedelta(hours=1),
    "rap": timedelta(hours=1),
    "rrfs": timedelta(hours=3),
}
ELSE: Final = timedelta(hours=3)
DEFAULT_SOURCE: Final = "nws"
FILES: Final = timedelta(hours=1)
# A run begun or done so much later than now was made by a clock that ran ahead. Machines that
# share a store differ by less; a wrong zone is an hour or more (common practice, no source).
AHEAD: Final = timedelta(minutes=45)
AGAIN: Final = " again"  # after a slot that was used by a clock that ran ahead
Slots = Collection[tuple[str, str]]  # kind and slot of runs


@dataclass(frozen=True, slots=True)
class Due:
    """One run that is to be done now."""

    kind: str
    slot: str  # local day, or the hour of a look
    at: datetime  # when it was due, UTC
    late: bool

    @property
    def source(self) -> str:
        """Return the source that is looked at, empty where the run is none."""
        return self.kind.partition(":")[2]


def due(
    job: Job, *, since: datetime, done: Sequence[RunRow], now: datetime, ahead: Slots = ()
) -> tuple[Due, ...]:
    """Return the runs to be done now: the messages of the local day, then looks at sources.

    Parameters
    ----------
    job : Job
    since : datetime
        From when the job is watched; what was due before is nobody's business.
    done : sequence of RunRow
        Runs of ``slots`` that are done, or that a process has at hand.
    now : datetime
    ahead : collection of (kind, slot)
        Runs made by a clock that ran ahead; they do not count and are made again.
    """
    taken = {(row.kind, row.slot) for row in done if is_taken(row, now)}
    return tuple(
        one
        for one in _wanted(job, now, ahead)
        if one.at <= now and (one.kind, one.slot) not in taken and _counts(one, since, now)
    )


def slots(job: Job, now: datetime, ahead: Slots = ()) -> tuple[tuple[str, str], ...]:
    """Return the runs (kind, slot) that ``due`` asks about."""
    return tuple((one.kind, one.slot) for one in _wanted(job, now, ahead))


def is_taken(row: RunRow, now: datetime) -> bool:
    """Tell whether a run is done, or at hand; one of the future is neither."""
    if row.done_at is not None:
        return row.done_at - now <= AHEAD
    return row.until > now and row.begun_at - now <= AHEAD


def free_slot(kind: str, slot: str, ahead: Slots) -> str:
    """Return the slot under which a run is made: another where a clock ran ahead has used it."""
    while (kind, slot) in ahead:
        slot += AGAIN
    return slot


def day_of(slot: str) -> date:
    """Return the local day of a message's slot."""
    return date.fromisoformat(slot.partition(AGAIN)[0])


def _wanted(job: Job, now: datetime, ahead: Slots) -> list[Due]:
    return [
        replace(one, slot=free_slot(one.kind, one.slot, ahead))
        for one in (*_messages(job, now), *_looks(job, now))
    ]


def overdue(
    job: Job, *, since: datetime, done: Sequence[RunRow], now: datetime, ahead: Slots = ()
) -> bool:
    """Tell whether this local day's morning run is long past and not done."""
    at = moment_of(job, _local_day(job, now), job.messages.morning)
    slot = free_slot(MORNING, _local_day(job, now).isoformat(), ahead)
    finished = any(
        r.kind == MORNING and r.slot == slot and r.done_at and is_taken(r, now) for r in done
    )
    return since <= at and now >= at + LATE_AFTER and not finished


def quiet_until(rhythm: Rhythm, zone: str, now: datetime) -> datetime | None:
    """Return when the quiet hours end; None outside them."""
    local = now.astimezone(ZoneInfo(zone))
    begin, end, clock = rhythm.quiet_from, rhythm.quiet_until, local.time()
    within = begin <= clock < end if begin <= end else clock >= begin or clock < end
    if not within:
        return None
    day = local.date() + timedelta(days=1 if begin > end and clock >= begin else 0)
    return datetime.combine(day, end, ZoneInfo(zone)).astimezone(UTC)


def moment_of(job: Job, day: date, clock: time) -> datetime:
    """Return a local time of a local day in UTC."""
    return datetime.combine(day, clock, ZoneInfo(job.site.time_zone)).astimezone(UTC)


def missed_days(
    job: Job, *, since: datetime, last: date | None, now: datetime
) -> tuple[date, ...]:
    """Return the days before this one on which no morning message was made, the newest seven.

    Parameters
    ----------
    last : date or None
        Local day of the last morning that is done; None where there was none.
    """
    today = _local_day(job, now)
    first = today - timedelta(days=7)
    days = [first + timedelta(days=n) for n in range(7)]
    after = last or since.astimezone(ZoneInfo(job.site.time_zone)).date() - timedelta(days=1)
    return tuple(
        day for day in days if day > after and moment_of(job, day, job.messages.morning) >= since
    )


def rhythm_of(source: str, *, is_file: bool) -> timedelta:
    """Return how often a source is asked."""
    return FILES if is_file else RHYTHMS.get(source, ELSE)


def _local_day(job: Job, now: datetime) -> date:
    return now.astimezone(ZoneInfo(job.site.time_zone)).date()


def _messages(job: Job, now: datetime) -> list[Due]:
    day, told = _local_day(job, now), job.messages
    clocks = {MORNING: told.morning, EVENING: told.evening}
    found = [(kind, moment_of(job, day, clock)) for kind, clock in clocks.items() if clock]
    return [Due(kind, day.isoformat(), at, now > at + LATE_AFTER) for kind, at in found]


def _looks(job: Job, now: datetime) -> list[Due]:
    sources = job.sources or (SourceChoice(DEFAULT_SOURCE),)
    return [_look(one.name, rhythm_of(one.name, is_file=bool(one.file)), now) for one in sources]


def source_names(job: Job) -> tuple[str, ...]:
    """Return the names of the sources that are looked at."""
    return tuple(source.name for source in job.sources) or (DEFAULT_SOURCE,)


def _look(source: str, every: timedelta, now: datetime) -> Due:
    """Return the newest look at a source: on whole multiples of its rhythm since 1970, UTC."""
    at = datetime.fromtimestamp(
        now.timestamp() // every.total_seconds() * every.total_seconds(), UTC
    )
    return Due(f"{LOOK}:{source}", at.isoformat(timespec="minutes"), at, late=False)


def _counts(one: Due, since: datetime, now: datetime) -> bool:
    """Tell whether a run fell due while the job was watched, and is still of use."""
    if one.source:
        return True
    stale = one.kind == EVENING and now > one.at + EVENING_KEEPS
    return one.at >= since and not stale
