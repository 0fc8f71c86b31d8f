"""Working hours: local shifts as masks over UTC hours, right across clock changes.

An hour counts as a shift hour only if all of it is inside the shift, or as much of the shift's
last hour as the work needs.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from math import ceil, floor
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.planning.model.job import Calendar, Job, Shift, Task
from scheduler.planning.tables.finish import BoolArray, IntArray

HOUR = timedelta(hours=1)
DAY = timedelta(days=1)


def shift_on(calendar: Calendar, day: date) -> Shift | None:
    """Return the shift of a local day: an exception first, then a day off, then the week."""
    shift = calendar.week[day.weekday()]
    if day in calendar.exceptions:
        shift = calendar.exceptions[day]
    elif day in calendar.days_off:
        shift = None
    return None if shift is None or shift.start == shift.end else shift


def shift_span(calendar: Calendar, day: date, zone: ZoneInfo) -> tuple[datetime, datetime] | None:
    """Return the beginning and end of a local day's shift, UTC; None where nobody works."""
    shift = shift_on(calendar, day)
    if shift is None:
        return None
    last_day = day if shift.end > shift.start else day + DAY
    return _utc(day, shift.start, zone.key), _utc(last_day, shift.end, zone.key)


def shift_mask(
    calendar: Calendar, time_zone: str, *, hour_zero: datetime, hours: int, part_h: float = 0.0
) -> BoolArray:
    """Return which hours the calendar works.

    Parameters
    ----------
    calendar : Calendar
        Shifts in local time. One that ends before it starts goes on past midnight.
    time_zone : str
        IANA name of the site's zone.
    hour_zero : datetime
        Beginning of hour 0, UTC.
    hours : int
        How many hours from there.
    part_h : float
        Part of an hour that is enough in the last hour of a shift; 0: all of it is needed.

    Returns
    -------
    (hours,)
        True where all of the hour, or enough of the last one, is inside a shift.
    """
    mask, more = np.zeros(hours, dtype=np.bool_), 1.0 - part_h if part_h > 0.0 else 0.0
    for day in _local_days(time_zone, hour_zero, hours):
        shift = shift_on(calendar, day)
        if shift is None:
            continue
        last_day = day if shift.end > shift.start else day + DAY
        begin = hours_from(hour_zero, _utc(day, shift.start, time_zone))
        end = hours_from(hour_zero, _utc(last_day, shift.end, time_zone)) + more
        mask[max(ceil(begin), 0) : max(floor(end), 0)] = True
    return mask


def crew_calendars(job: Job, task: Task) -> list[Calendar]:
    """Return the calendars of a task's crews, the job's own where it names none."""
    by_crew = {crew.id: crew.calendar or job.calendar for crew in job.crews}
    return [by_crew.get(crew, job.calendar) for crew in sorted(set(task.crew))] or [job.calendar]


def task_shift(
    job: Job, task: Task, *, hour_zero: datetime, hours: int, part_h: float = 0.0
) -> BoolArray:
    """Return the hours in which every crew of a task works: ``(hours,)``.

    An hour that somebody outside the job has agreed to or offers counts too, from there for as
    long as the work takes: who comes on a Saturday by appointment is not stopped by the week.
    """
    masks = [
        shift_mask(calendar, job.site.time_zone, hour_zero=hour_zero, hours=hours, part_h=part_h)
        for calendar in crew_calendars(job, task)
    ]
    shift: BoolArray = np.logical_and.reduce(masks)
    visit = task.appointment
    for start in () if visit is None else (visit.start, *visit.slots):
        at = int(np.ceil(hours_from(hour_zero, start)))
        length = int(np.ceil(task.set_up_h + task.duration_h + task.cover_up_h))
        if not task.may_pause:
            shift[max(at, 0) : max(at + length, 0)] = True
    return shift


def local_day_numbers(time_zone: str, *, hour_zero: datetime, hours: int) -> IntArray:
    """Return the local day each hour begins in, counted from hour zero's day: ``(hours + 1,)``."""
    numbers = np.zeros(hours + 1, dtype=np.int32)
    for number, day in enumerate(_local_days(time_zone, hour_zero, hours)[1:]):
        midnight = hours_from(hour_zero, _utc(day, time(0), time_zone))
        numbers[max(int(np.ceil(midnight)), 0) :] = number
    return numbers


def days_mask(
    days: Iterable[date], time_zone: str, *, hour_zero: datetime, hours: int
) -> BoolArray:
    """Return which hours begin on one of the local days: ``(hours,)``."""
    zone = ZoneInfo(time_zone)
    first = hour_zero.astimezone(zone).date()
    wanted = [(day - first).days for day in days]
    numbers = local_day_numbers(time_zone, hour_zero=hour_zero, hours=hours)
    return np.isin(numbers[:hours], wanted)


def hours_from(hour_zero: datetime, moment: datetime) -> float:
    """Return the hours from hour zero to a moment, with their fraction."""
    return (moment - hour_zero) / HOUR


def whole_hour_from(moment: datetime) -> datetime:
    """Return the first whole hour not before a moment."""
    whole = moment.replace(minute=0, second=0, microsecond=0)
    return whole if whole == moment else whole + timedelta(hours=1)


def moment_of(hour_zero: datetime, hour: int) -> datetime:
    """Return the moment at which an hour begins."""
    return hour_zero + int(hour) * HOUR


def with_saturday(calendar: Calendar, shift: Shift) -> Calendar:
    """Return the calendar with Saturdays worked; days off stay days off."""
    return replace(calendar, week=(*calendar.week[:5], shift, calendar.week[6]))


def with_overtime(calendar: Calendar, hours: float) -> Calendar:
    """Return the calendar with each worked day made longer, not past midnight.

    Days worked by exception keep their hours: they were agreed for that day.
    """
    return replace(calendar, week=tuple(_longer(shift, hours) for shift in calendar.week))


def _longer(shift: Shift | None, hours: float) -> Shift | None:
    if shift is None or shift.end <= shift.start:
        return shift
    anchor = datetime.combine(date.min, shift.end)
    later = anchor + timedelta(hours=hours)
    end = later.time() if later.date() == anchor.date() else time(23, 59)
    return Shift(start=shift.start, end=end)


def _local_days(time_zone: str, hour_zero: datetime, hours: int) -> list[date]:
    """Return the local days that the hours touch, and the day before for its night shift."""
    zone = ZoneInfo(time_zone)
    first = hour_zero.astimezone(zone).date()
    last = (hour_zero + hours * HOUR).astimezone(zone).date()
    return [first + n * DAY for n in range(-1, (last - first).days + 1)]


@lru_cache(maxsize=4096)
def _utc(day: date, clock: time, time_zone: str) -> datetime:
    """Return the moment of a local clock time; one skipped by the clocks falls an hour later."""
    zone = ZoneInfo(time_zone)
    return datetime.combine(day, clock, tzinfo=zone).astimezone(ZoneInfo("UTC"))
