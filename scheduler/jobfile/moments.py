"""Dates, clock times and moments as people write them, in the site's zone, to UTC."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Final

# Fractions of a second as ISO 8601-1:2019, 5.3.1.4 and RFC 3339, 5.6 write them: machines do, and
# cut to whole seconds two entries could change their order.
SECONDS: Final = r"\d{2}(?:[.,]\d{1,9})?"
MOMENT: Final = re.compile(
    r"(\d{4}-\d{2}-\d{2})"
    rf"(?:[T ](\d{{1,2}}:\d{{2}})(?::({SECONDS}))?\s*(Z|[+-]\d{{2}}:?\d{{2}})?)?"
)
CLOCK: Final = re.compile(r"(\d{1,2}):(\d{2})")
FIRST_YEAR: Final = 1990  # outside these it is a slip of the finger
LAST_YEAR: Final = 2100
WEEK_DAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def day(text: str) -> date:
    """Read a date; ValueError says what would be right."""
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
        raise ValueError("give a day such as 2026-11-20")
    try:
        on = date.fromisoformat(text)
    except ValueError as error:
        raise ValueError(f"there is no such day; {error}") from error
    if not FIRST_YEAR <= on.year <= LAST_YEAR:
        raise ValueError(f"give a year from {FIRST_YEAR} to {LAST_YEAR}")
    return on


def clock(text: str) -> time:
    """Read a time of day."""
    found = CLOCK.fullmatch(text)
    if found and int(found[1]) < 24 and int(found[2]) < 60:
        return time(int(found[1]), int(found[2]))
    raise ValueError('give a time of day such as "16:30"')


def moment(text: str, zone: tzinfo) -> datetime:
    """Read a moment with a time; without an offset it is the site's local time.

    Raises
    ------
    ValueError
        If it is no moment, or a local time that the clock change skips or repeats.
    """
    found = MOMENT.fullmatch(text)
    if not found or not found[2]:
        raise ValueError("give a local moment such as 2026-11-20T08:00")
    on, at = day(found[1]), clock(found[2])
    naive = datetime.combine(on, at) + _seconds(found[3])
    if found[4]:
        return _with_offset(naive, found[4])
    return from_local(naive, zone)


def from_local(naive: datetime, zone: tzinfo) -> datetime:
    """Turn the site's local time into UTC; ValueError where clocks skip or repeat it."""
    first, second = (naive.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    utc = first.astimezone(UTC)
    if utc.astimezone(zone).replace(tzinfo=None) != naive:
        meant = f"{utc.astimezone(zone):%H:%M}"
        raise ValueError(f"clocks go forward and skip it that day; did you mean {meant}?")
    if first.utcoffset() != second.utcoffset():
        early, late = first.isoformat(timespec="minutes"), second.isoformat(timespec="minutes")
        raise ValueError(f"clocks go back and it comes twice; say {early} or {late}")
    return utc


def start_of_day(on: date, zone: tzinfo) -> datetime:
    """Return the first moment of a local day in UTC, also where midnight is skipped."""
    return datetime.combine(on, time(0), tzinfo=zone).astimezone(UTC)


def end_of_day(on: date, zone: tzinfo) -> datetime:
    """Return the first moment of the next local day in UTC."""
    return start_of_day(on + timedelta(days=1), zone)


def _seconds(text: str | None) -> timedelta:
    if text is None:
        return timedelta(0)
    whole, fraction = text[:2], text[3:]
    if int(whole) > 59:
        raise ValueError("seconds go to 59")
    return timedelta(seconds=int(whole), microseconds=int(f"{fraction:0<6}"[:6]))


def _with_offset(naive: datetime, offset: str) -> datetime:
    text = "+00:00" if offset == "Z" else offset
    if len(text) == 5:
        text = f"{text[:3]}:{text[3:]}"
    return datetime.fromisoformat(f"{naive.isoformat()}{text}").astimezone(UTC)


def week_days(text: str) -> tuple[int, ...]:
    """Read ``wed``, ``mon-fri`` or ``mon, wed``; Monday is 0."""
    days: list[int] = []
    for part in text.lower().split(","):
        ends = [name.strip() for name in part.split("-")]
        if len(ends) > 2 or not set(ends) <= set(WEEK_DAYS):
            raise ValueError(f"name days of {', '.join(WEEK_DAYS)}, or a range such as mon-fri")
        first, last = WEEK_DAYS.index(ends[0]), WEEK_DAYS.index(ends[-1])
        days += [day % 7 for day in range(first, last + 1 if last >= first else last + 8)]
    return tuple(dict.fromkeys(days))


def shift(text: str) -> tuple[time, time] | None:
    """Read ``07:00-16:30``, or ``off`` as None."""
    if text.strip().lower() in {"off", "none", "closed"}:
        return None
    ends = re.split(r"\s*[-–]\s*", text.strip())
    if len(ends) != 2:
        raise ValueError('give hours such as "07:00-16:30", or off')
    start, end = clock(ends[0]), clock(ends[1])
    if end <= start:
        raise ValueError("a shift ends after it begins, on the same day")
    return start, end
