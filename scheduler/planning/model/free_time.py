"""The hours nobody is on site: each night, and the nights around days off."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from scheduler.planning.model.calendars import shift_on
from scheduler.planning.model.job import Calendar, Job

SOON: Final = timedelta(hours=48)  # Thursday decides the weekend; common practice, no source
SETTING_OUT: Final = timedelta(hours=4)  # before a shift the night is over; common practice
AHEAD_DAYS: Final = 14  # a stretch of days off further away is not looked for


@dataclass(frozen=True, slots=True)
class Away:
    """From the end of the last shift to the beginning of the next one, UTC."""

    start: datetime
    end: datetime
    days_off: tuple[date, ...] = ()  # whole local days in it that nobody works

    @property
    def hours(self) -> float:
        """Return how long nobody is there."""
        return (self.end - self.start).total_seconds() / 3600.0


def coming(job: Job, now: datetime) -> tuple[Away, ...]:
    """Return tonight, and the next stretch that holds days off where tonight does not.

    After a shift and until four hours before the next one tonight is the night that is running,
    from now; later, and in the shift, it is the coming one. Nothing where the job's hours hold no
    working day.
    """
    stretches = _stretches(job, now)
    if not stretches:
        return ()
    first, *rest = stretches
    if first.days_off:
        return (first,)
    return (first, *[one for one in rest if one.days_off][:1])


def _stretches(job: Job, now: datetime) -> list[Away]:
    zone = ZoneInfo(job.site.time_zone)
    today = now.astimezone(zone).date()
    days = [today + timedelta(days=n) for n in range(-1, AHEAD_DAYS + 1)]
    shifts = [span for day in days if (span := _shift(job.calendar, day, zone)) is not None]
    found = []
    for (_, left), (back, _) in itertools.pairwise(shifts):
        if now >= back - SETTING_OUT:
            continue
        start = max(left, now)
        first = start.astimezone(zone).date() + timedelta(days=1)
        off = [
            first + timedelta(days=n) for n in range((back.astimezone(zone).date() - first).days)
        ]
        found.append(Away(start, back, tuple(off)))
    return found


def _shift(calendar: Calendar, day: date, zone: ZoneInfo) -> tuple[datetime, datetime] | None:
    shift = shift_on(calendar, day)
    if shift is None:
        return None
    last = day if shift.end > shift.start else day + timedelta(days=1)
    begin = datetime.combine(day, shift.start, tzinfo=zone)
    return begin.astimezone(UTC), datetime.combine(last, shift.end, tzinfo=zone).astimezone(UTC)
