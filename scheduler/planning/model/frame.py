"""The hours of a job: first hour, last, who works when, and which forecast is too old."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from scheduler.planning.model.calendars import (
    hours_from,
    moment_of,
    shift_on,
    task_shift,
    whole_hour_from,
)
from scheduler.planning.model.daylight import daylight_mask
from scheduler.planning.model.job import Job, Link, LinkKind, State, Task
from scheduler.planning.model.log import EntryKind, Progress
from scheduler.planning.model.standing import Standing, lost_mask, standings
from scheduler.planning.tables.finish import BoolArray, Effort, whole_hours
from scheduler.planning.tables.hours import Forecast


@dataclass(frozen=True, slots=True)
class Frame:
    """The hours a job is planned on, and how far it is."""

    job: Job
    hour_zero: datetime  # UTC
    hours: int
    now: int  # first hour that can still be planned
    standing: Mapping[str, Standing]
    progress: Progress

    @property
    def open_tasks(self) -> list[Task]:
        """Return the tasks not done, in id order."""
        tasks = [t for t in self.job.tasks if self.standing[t.id].state is not State.DONE]
        return sorted(tasks, key=lambda task: task.id)

    @property
    def moment(self) -> datetime:
        """Return the moment of the first hour that can still be planned."""
        return moment_of(self.hour_zero, self.now)

    @property
    def straddles(self) -> bool:
        """Tell whether its hours begin inside hours of the weather, which are whole in UTC."""
        return self.hour_zero.minute != 0

    def hour(self, moment: datetime) -> int:
        """Return the first whole hour not before a moment; may lie before hour zero."""
        return whole_hours(hours_from(self.hour_zero, moment))


def frame_of(
    job: Job, progress: Progress, *, hour_zero: datetime, hours: int, now_hour: int
) -> Frame:
    """Return the frame of a job at an hour."""
    now = moment_of(hour_zero, now_hour)
    standing = standings(job, progress, now=now)
    return Frame(job, hour_zero, hours, now_hour, standing, progress)


def effort_of(frame: Frame, task: Task) -> Effort:
    """Return the whole hours of work that a task still takes."""
    return Effort(
        hours=whole_hours(frame.standing[task.id].hours_left),
        may_pause=task.may_pause,
        least_piece=max(whole_hours(task.least_piece_h), 1),
        set_up=whole_hours(task.set_up_h),
        cover_up=whole_hours(task.cover_up_h),
    )


def shift_of(frame: Frame, task: Task) -> BoolArray:
    """Return the hours in which a task's crews work, lost and dark ones out: ``(hours,)``."""
    lost = [entry for entry in frame.progress.entries if entry.kind is EntryKind.LOST]
    gone = lost_mask(
        lost, frame.job.calendar, frame.job, task, hour_zero=frame.hour_zero, hours=frame.hours
    )
    job, zero = frame.job, frame.hour_zero
    part = _last_part_h(frame, task)
    shift = task_shift(job, task, hour_zero=zero, hours=frame.hours, part_h=part) & ~gone
    if task.daylight_only:
        shift &= daylight_mask(job.site, job.daylight, hour_zero=zero, hours=frame.hours)
    return shift


def _last_part_h(frame: Frame, task: Task) -> float:
    """Return the part of an hour with which work that does not pause ends; 0 where it ends whole.

    Such work may end inside the last hour of a shift that has a part of an hour left.
    """
    hours = (task.set_up_h, frame.standing[task.id].hours_left, task.cover_up_h)
    whole = sum(whole_hours(part) for part in hours)
    part = sum(hours) % 1.0
    return 0.0 if task.may_pause or whole != whole_hours(sum(hours)) else part


def is_past(frame: Frame, link: Link) -> bool:
    """Return whether what a link waits for has happened."""
    standing = frame.standing[link.task]
    if link.kind is LinkKind.START_START:
        return standing.state is not State.TO_DO
    return standing.state is State.DONE


def planned_hours(job: Job, now: datetime) -> tuple[datetime, int]:
    """Return hour zero, the first hour not before now at which shifts begin, and the hours left.

    Hours are counted from the minute at which the job's shifts begin by UTC: a shift from 07:30
    has nine whole hours to 16:30, and so has one from 07:00 where the zone is half an hour off.
    Hours left are those of the weather, to season's end.
    """
    minute = timedelta(minutes=_shift_minute(job, now))
    zero = whole_hour_from(now - minute) + minute
    first = zero.replace(minute=0)
    left = (season_end(job, now) - first) / timedelta(hours=1)
    return zero, max(whole_hours(left), 0)


def _shift_minute(job: Job, now: datetime) -> int:
    """Return the minute by UTC at which most of the coming week's shifts begin."""
    zone = ZoneInfo(job.site.time_zone)
    today = now.astimezone(zone).date()
    days = [today + timedelta(days=n) for n in range(7)]
    begins = [
        datetime.combine(day, shift.start, tzinfo=zone).astimezone(UTC).minute
        for day in days
        if (shift := shift_on(job.calendar, day)) is not None
    ]
    return max(sorted(set(begins)), key=begins.count, default=0)


def season_end(job: Job, now: datetime) -> datetime:
    """Return the local midnight after the season's last day, UTC."""
    zone = ZoneInfo(job.site.time_zone)
    last: date = job.season_end or now.astimezone(zone).date() + timedelta(days=SEASON_DAYS)
    return datetime.combine(last + timedelta(days=1), time(0), zone).astimezone(UTC)


SEASON_DAYS: Final = 120  # planned on where the job names no season's end


def is_stale(forecast: Forecast, now: datetime) -> bool:
    """Tell whether a forecast is too old to go on, or does not say how old it is."""
    return forecast.provenance.is_stale(now)
