"""Values that hold over intervals, laid out by hour.

A state (temperature, wind) is repeated over every hour of its interval. An amount (rain, snow)
is a total: it is shared out evenly over its interval, so that the sum over the hours is the
amount. An hour counts only where intervals cover all of it; the rest is a gap. Where two
intervals tell different values for one hour, nobody can know which is right: a gap as well.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from rules.verdict import FloatArray

HOUR_S: Final = 3600
MOST_HOURS: Final = 24 * 62  # two months: no forecast by hours is longer
MOST_CELLS: Final = 2_000_000  # hours times how often they may be covered, a bound on memory
_DURATION = re.compile(
    r"P(?:(?P<w>\d{1,4})W)?(?:(?P<d>\d{1,5})D)?"
    r"(?:T(?:(?P<h>\d{1,6})H)?(?:(?P<m>\d{1,7})M)?(?:(?P<s>\d{1,9})(?:[.,]0+)?S)?)?"
)
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Spans:
    """Intervals with a value each: seconds since 1970 UTC, NaN for a value that is not known."""

    start_s: IntArray  # (n,)
    end_s: IntArray  # (n,), each after its start
    values: FloatArray  # (n,)


class ByHour(NamedTuple):
    """Values by hour, and how many hours two intervals told differently."""

    values: FloatArray  # (hours,)
    conflicts: int


@lru_cache(maxsize=512)
def duration_s(text: str) -> int:
    """Return the length of an ISO 8601 duration in seconds; a day is 24 h, since clocks are UTC.

    Raises
    ------
    ValueError
        If it is no duration, has years or months (no fixed length), or is not above zero.
    """
    found = _DURATION.fullmatch(text)
    if found is None or text.endswith(("P", "T")):
        raise ValueError("want a duration such as PT6H or P1DT5H")
    part = {name: int(number) for name, number in found.groupdict(default="0").items()}
    length = ((part["w"] * 7 + part["d"]) * 24 + part["h"]) * HOUR_S + part["m"] * 60 + part["s"]
    if length <= 0:
        raise ValueError("want a duration above zero")
    return length


def instant(text: str) -> datetime:
    """Return a moment in UTC.

    Raises
    ------
    ValueError
        If it is no ISO 8601 moment, or has no offset from UTC.
    """
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError("want an offset from UTC, e.g. 2026-11-09T05:00-05:00 or ...Z")
    try:
        return moment.astimezone(UTC)
    except OverflowError as error:
        raise ValueError("want a year people plan in") from error


def interval_s(text: str) -> tuple[int, int]:
    """Return start and end of ``start/duration`` or ``start/end`` in seconds since 1970.

    Raises
    ------
    ValueError
        If it is no such interval or does not end after its start.
    """
    first, slash, second = text.partition("/")
    if not slash:
        raise ValueError("want start/duration, e.g. 2026-11-09T05:00:00+00:00/PT6H")
    start = int(instant(first).timestamp())
    if second.startswith("P"):
        return start, start + duration_s(second)
    end = int(instant(second).timestamp())
    if end <= start:
        raise ValueError("want an end after the start")
    return start, end


def state_by_hour(spans: Spans, hour_zero: int, hours: int, *, worst: str = "mean") -> ByHour:
    """Repeat each value over the hours of its interval.

    Parameters
    ----------
    spans
        The intervals, in any order; one that is null makes its hours gaps.
    hour_zero
        The first hour, in hours since 1970.
    hours
        How many hours are wanted; parts outside are left out.
    worst
        What an hour made of shorter intervals takes: ``mean`` (weighted by time) or ``max``.

    Raises
    ------
    ValueError
        If the intervals cover their hours so often that the layer cannot be meant.
    """
    unique = _without_repeats(spans)
    which, hour, seconds = _cells(unique, hour_zero, hours)
    told = unique.values[which]
    lost = np.bincount(hour, np.isnan(told), hours) > 0  # a null makes its hours gaps
    told = np.nan_to_num(told)
    low, high, longest = np.full(hours, np.inf), np.full(hours, -np.inf), np.zeros(hours)
    np.minimum.at(low, hour, told)
    np.maximum.at(high, hour, told)
    np.maximum.at(longest, hour, seconds)
    covered = np.bincount(hour, seconds, hours)
    values = np.where((covered >= HOUR_S) & ~lost, high, np.nan)
    mixed = (covered == HOUR_S) & (low != high) & ~lost
    if worst == "mean" and mixed.any():
        values[mixed] = (np.bincount(hour, told * seconds, hours) / HOUR_S)[mixed]
    conflict = np.zeros(hours, dtype=bool)
    if _overlap(unique):
        often = np.bincount(hour, minlength=hours) > 1
        conflict = often & (low != high)
        values[conflict | (often & (longest < HOUR_S))] = np.nan
    return ByHour(values, int(conflict.sum()))


def amount_by_hour(spans: Spans, hour_zero: int, hours: int) -> ByHour:
    """Share each amount out evenly over its interval, so that the sum is kept.

    Takes what :func:`state_by_hour` takes. An hour that intervals cover only in part is a gap:
    what fell in the rest of it is not known. So is an hour that two amounts claim.
    """
    unique = _without_repeats(spans)
    which, hour, seconds = _cells(unique, hour_zero, hours)
    length = (unique.end_s - unique.start_s).astype(np.float64)
    share = unique.values[which] * (seconds / length[which])
    values = np.asarray(np.bincount(hour, share, hours), dtype=np.float64)
    covered = np.bincount(hour, seconds, hours)
    twice = covered > HOUR_S
    if _overlap(unique):
        twice |= np.bincount(hour, minlength=hours) > 1
    values[(covered != HOUR_S) | twice] = np.nan
    return ByHour(values, int(twice.sum()))


def repeats(spans: Spans) -> int:
    """Return how many intervals say again what an earlier one said."""
    return int(spans.values.size - _without_repeats(spans).values.size)


def _without_repeats(spans: Spans) -> Spans:
    rows = np.stack((spans.start_s, spans.end_s, spans.values.view(np.int64)), axis=-1)
    if rows.shape[0] == np.unique(spans.start_s).size:
        return spans
    _, first = np.unique(rows, axis=0, return_index=True)
    return Spans(spans.start_s[first], spans.end_s[first], spans.values[first])


def _overlap(spans: Spans) -> bool:
    order = np.argsort(spans.start_s, kind="stable")
    ends = np.maximum.accumulate(spans.end_s[order])
    return bool((spans.start_s[order][1:] < ends[:-1]).any())


def _cells(spans: Spans, hour_zero: int, hours: int) -> tuple[IntArray, IntArray, FloatArray]:
    """Return each meeting of an interval and an hour: which, which hour, how many seconds."""
    zero = hour_zero * HOUR_S
    first = np.clip((spans.start_s - zero) // HOUR_S, 0, hours)
    last = np.clip(-((zero - spans.end_s) // HOUR_S), 0, hours)
    count = np.maximum(last - first, 0)
    total = int(count.sum())
    if total > MOST_CELLS:
        raise ValueError(f"covers its {hours} hours {total // max(hours, 1)} times over")
    which = np.repeat(np.arange(count.size), count)
    hour = np.arange(total) - np.repeat(np.cumsum(count) - count, count) + first[which]
    begin = zero + hour * HOUR_S
    seconds = np.minimum(spans.end_s[which], begin + HOUR_S) - np.maximum(
        spans.start_s[which], begin
    )
    return which, hour, seconds.astype(np.float64)
