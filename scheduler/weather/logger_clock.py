"""From a logger's clock to instants: the hour that comes twice, and the one that never was."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from rules.errors import Faults, WeatherFileFault
from scheduler.planning.tables.hours import Finding


class Clock(StrEnum):
    """How the logger's clock runs."""

    LOCAL = "local"  # changes with the season, as a telephone's
    STANDARD = "standard"  # the zone's standard time all year
    UTC = "utc"


def instants(
    times: Sequence[datetime], zone: ZoneInfo, clock: Clock, file: str
) -> tuple[list[datetime], list[Finding]]:
    """Return the moments of all rows in UTC, in the file's order.

    In the hour that comes twice the order of the rows tells the first from the second.

    Raises
    ------
    Faults
        If a time was skipped by the clock change: the logger's clock does not change.
    """
    if clock is Clock.UTC:
        return [_aware(time) for time in times], []
    if clock is Clock.STANDARD:
        return [_standard(time, zone) for time in times], []
    out: list[datetime] = []
    for time in times:
        if time.tzinfo is not None:
            out.append(time)
            continue
        first, second = (time.replace(tzinfo=zone, fold=f).astimezone(UTC) for f in (0, 1))
        if first.astimezone(zone).replace(tzinfo=None) != time:
            want = "the clock was put forward over it; say that the logger keeps standard time"
            raise Faults([WeatherFileFault(file, "time", time.isoformat(sep=" "), want)])
        later = out and out[-1] >= first and second != first and out[-1] < second
        out.append(second if later else first)
    return out, _missing_hour(times, out)


def _aware(time: datetime) -> datetime:
    return time if time.tzinfo is not None else time.replace(tzinfo=UTC)


def _standard(time: datetime, zone: ZoneInfo) -> datetime:
    """Return a moment on the zone's standard time, the smaller offset of January and July."""
    if time.tzinfo is not None:
        return time
    offsets = (
        time.replace(month=month, day=1, tzinfo=zone).utcoffset() or timedelta(0)
        for month in (1, 7)
    )
    return (time - min(offsets)).replace(tzinfo=UTC)


def _missing_hour(times: Sequence[datetime], moments: Sequence[datetime]) -> list[Finding]:
    """Tell a clock that ran on evenly over a change: one hour is missing there."""
    for before, after, first, second in zip(times, times[1:], moments, moments[1:], strict=False):
        if before.tzinfo is not None or after.tzinfo is not None:
            continue
        jump = (second - first) - (after - before)
        if jump == timedelta(hours=1) and timedelta(0) < after - before <= timedelta(hours=1):
            told = f"an hour is missing at the clock change before {after:%Y-%m-%d %H:%M}; "
            return [Finding("", told + "does the logger keep standard time?", 1)]
    return []
