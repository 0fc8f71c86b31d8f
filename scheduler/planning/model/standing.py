"""How far each task is, from the job file and the progress log; the log wins."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.model.answer import HoldLine
from scheduler.planning.model.calendars import (
    DAY,
    HOUR,
    crew_calendars,
    hours_from,
    shift_mask,
    shift_span,
)
from scheduler.planning.model.job import Calendar, Hold, Job, State, Task
from scheduler.planning.model.log import Entry, EntryKind, Progress, release_of
from scheduler.planning.tables.finish import BoolArray, whole_hours

LOOK_AHEAD: Final = 60 * 24  # hours in which lost hours that lie ahead are looked for
LEAST_LEFT_H: Final = 0.5  # of work under way that nobody has told finished


@dataclass(frozen=True, slots=True)
class Standing:
    """How far one task is."""

    state: State
    started: datetime | None = None  # UTC
    finished: datetime | None = None  # UTC
    hours_left: float = 0.0
    counted_from: datetime | None = None  # UTC; when ``hours_left`` was true


def standings(job: Job, progress: Progress, *, now: datetime) -> Mapping[str, Standing]:
    """Return how far each task is at a moment.

    Hours left of a task under way are counted down to the minute by the shift hours that have
    passed since they were told, lost hours taken out; until it is told finished, half an hour is
    left.
    """
    lost = [entry for entry in progress.entries if entry.kind is EntryKind.LOST]
    return {task.id: _standing(job, task, progress, lost, now) for task in job.tasks}


def _standing(
    job: Job, task: Task, progress: Progress, lost: list[Entry], now: datetime
) -> Standing:
    told = _told(task)
    for entry in progress.entries:
        if entry.task == task.id and entry.at <= now:
            told = _after(told, entry, task)
    if told.state is not State.UNDER_WAY or told.counted_from is None:
        return told
    calendar = crew_calendars(job, task)[0]
    passed = hours_worked(calendar, job, lost, task, told.counted_from, now)
    return replace(told, hours_left=max(told.hours_left - passed, LEAST_LEFT_H), counted_from=now)


def _told(task: Task) -> Standing:
    if task.state is State.DONE:
        return Standing(State.DONE, task.started_at, task.finished_at)
    if task.state is State.UNDER_WAY:
        if task.hours_left is not None:
            return Standing(State.UNDER_WAY, task.started_at, None, task.hours_left)
        return Standing(State.UNDER_WAY, task.started_at, None, task.duration_h, task.started_at)
    return Standing(State.TO_DO, hours_left=task.duration_h)


def _after(told: Standing, entry: Entry, task: Task) -> Standing:
    """Return the standing after one more entry."""
    if entry.kind is EntryKind.STARTED:
        left = told.hours_left if told.state is State.UNDER_WAY else task.duration_h
        return Standing(State.UNDER_WAY, entry.at, None, left, entry.at)
    if entry.kind is EntryKind.FINISHED:
        return Standing(State.DONE, told.started, entry.at)
    if entry.kind is EntryKind.PROGRESS and entry.hours is not None:
        return Standing(State.UNDER_WAY, told.started, None, entry.hours, entry.at)
    return told


def hours_worked(
    calendar: Calendar,
    job: Job,
    lost: list[Entry],
    task: Task,
    since: datetime,
    until: datetime,
) -> float:
    """Return for how many hours of shift from ``since`` to ``until`` a task was worked on."""
    zone = ZoneInfo(job.site.time_zone)
    first, last = since.astimezone(zone).date(), until.astimezone(zone).date()
    days = (first + n * DAY for n in range(-1, (last - first).days + 1))
    spans = (span for day in days if (span := shift_span(calendar, day, zone)) is not None)
    worked = sum(_overlap_h(span, (since, until)) for span in spans)
    zero = since.replace(minute=0, second=0, microsecond=0)
    hours = max(whole_hours(hours_from(zero, until)), 0)
    gone = lost_mask(lost, calendar, job, task, hour_zero=zero, hours=hours)
    missed = (zero + int(n) * HOUR for n in np.flatnonzero(gone))
    idle = sum(_overlap_h((hour, hour + HOUR), (since, until)) for hour in missed)
    return max(worked - idle, 0.0)


def _overlap_h(span: tuple[datetime, datetime], other: tuple[datetime, datetime]) -> float:
    shared = min(span[1], other[1]) - max(span[0], other[0])
    return max(shared / HOUR, 0.0)


def lost_mask(
    lost: list[Entry], calendar: Calendar, job: Job, task: Task, *, hour_zero: datetime, hours: int
) -> BoolArray:
    """Return which hours the log says are lost to a task: ``(hours,)``."""
    mask = np.zeros(hours, dtype=np.bool_)
    for entry in lost:
        crew = entry.payload.get("crew")
        if entry.task not in {"", task.id} or (crew is not None and crew not in task.crew):
            continue
        for moment in lost_hours(entry, calendar, job.site.time_zone):
            at = int(np.floor(hours_from(hour_zero, moment)))
            if 0 <= at < hours:
                mask[at] = True
    return mask


def lost_hours(entry: Entry, calendar: Calendar, time_zone: str) -> tuple[datetime, ...]:
    """Return the beginnings of the shift hours that an entry says are lost.

    With ``from`` and ``until`` in the entry's payload those between. Else the hours told are
    taken from the shift of the entry's local day, the last ones before the entry first; what
    the day has not had yet lies ahead of it. So nine hours told at seven in the morning are
    today's, and three told at noon are this morning's.
    """
    start, end = entry.payload.get("from"), entry.payload.get("until")
    if isinstance(start, datetime) and isinstance(end, datetime):
        zero = _begun_hour(start)
        count = max(whole_hours(hours_from(start, end)), 0)
        gone = _shift_hours(calendar, time_zone, zero, count)
    else:
        zone = ZoneInfo(time_zone)
        morning = datetime.combine(entry.at.astimezone(zone).date(), time(0), tzinfo=zone)
        zero = _begun_hour(morning.astimezone(UTC))
        hours = _shift_hours(calendar, time_zone, zero, LOOK_AHEAD)
        count = whole_hours(entry.hours or 0.0)
        behind = int((hours + 1 <= hours_from(zero, entry.at)).sum())
        gone = hours[max(behind - count, 0) :][:count]
    return tuple(zero + int(n) * HOUR for n in gone)


def _begun_hour(moment: datetime) -> datetime:
    return moment.replace(minute=0, second=0, microsecond=0)


def _shift_hours(
    calendar: Calendar, time_zone: str, zero: datetime, hours: int
) -> NDArray[np.intp]:
    """Return which hours from ``zero`` on, of so many, the calendar works."""
    return np.flatnonzero(shift_mask(calendar, time_zone, hour_zero=zero, hours=hours))


def unreleased(task: Task, entries: Iterable[Entry]) -> list[Hold]:
    """Return the job's own holds on a task that nobody of their roles has released."""
    told = tuple(entries)
    return [hold for hold in task.holds if release_of(told, task.id, hold.by) is None]


def standing_holds(task: Task, entries: Iterable[Entry]) -> tuple[HoldLine, ...]:
    """Return the same as a plan tells them, a line for each role."""
    found = unreleased(task, entries)
    return tuple(HoldLine(role, hold.needs) for hold in found for role in hold.by)
