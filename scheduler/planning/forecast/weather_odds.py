"""Plain odds from weather traces: first freeze, dry days on end, a window, workable hours left."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from rules.exposure import NEVER, first_hour
from rules.verdict import FloatArray
from rules.wetting import WET_HOUR_MM
from scheduler.planning.model.calendars import local_day_numbers
from scheduler.planning.tables.hours import HourlyTable

PERCENTS: Final = (10, 50, 90)
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Days:
    """The local days of a run of hours."""

    days: tuple[date, ...]
    edges: NDArray[np.int64]  # (days,) hour number at which each begins; the first is cut at 0
    hours: int

    @classmethod
    def of(cls, time_zone: str, *, hour_zero: datetime, hours: int) -> Days:
        """Return the days that the hours touch."""
        numbers = local_day_numbers(time_zone, hour_zero=hour_zero, hours=hours)[:hours]
        edges = np.flatnonzero(np.diff(numbers, prepend=-1)).astype(np.int64)
        first = hour_zero.astimezone(ZoneInfo(time_zone)).date()
        return cls(tuple(first + timedelta(days=int(n)) for n in numbers[edges]), edges, hours)

    def lows(self, values: FloatArray) -> FloatArray:
        """Return each day's lowest value: (..., days); NaN where an hour is not known."""
        low: FloatArray = np.minimum.reduceat(values, self.edges, axis=-1)
        return low

    def highs(self, values: FloatArray) -> FloatArray:
        """Return each day's highest value: (..., days); NaN where an hour is not known."""
        high: FloatArray = np.maximum.reduceat(values, self.edges, axis=-1)
        return high

    def sums(self, values: FloatArray) -> FloatArray:
        """Return each day's sum: (..., days)."""
        total: FloatArray = np.add.reduceat(values, self.edges, axis=-1)
        return total


def first_day_odds(lows: FloatArray, limit: float) -> tuple[NDArray[np.int64], FloatArray]:
    """Return when a value first comes to or under a limit, and how often it has by each day.

    Parameters
    ----------
    lows : (years, days)
        Daily minima; a year with a day that is not known before its first passing does not count.
    limit : number
        In the unit of ``lows``.

    Returns
    -------
    first, odds : (years that count,), (days,)
        Number of the day, ``NEVER`` where it does not come; share of the years that count.
    """
    with np.errstate(invalid="ignore"):
        first = first_hour(lows <= limit)
    unknown = first_hour(np.isnan(lows))
    counted = first[(first < unknown) | (unknown == NEVER)]
    days = np.arange(lows.shape[-1])
    if counted.size == 0:
        return counted, np.full(days.size, np.nan)
    return counted, (counted[:, None] <= days).mean(axis=0)


def day_of_share(first: NDArray[np.int64], percent: float) -> float:
    """Return the day number by which a share of years has passed a limit.

    By the plotting positions ``k / (n + 1)`` (Weibull; WMO Guide to Hydrological Practices,
    chapter 5), straight between years; infinite where too few years pass it.
    """
    ranked = np.sort(np.where(first >= NEVER, np.inf, first.astype(np.float64)))
    position = percent / 100.0 * (ranked.size + 1) - 1.0
    if not 0.0 <= position <= ranked.size - 1:
        return float("-inf") if position < 0.0 else float("inf")
    below, above = ranked[int(np.floor(position))], ranked[int(np.ceil(position))]
    if not np.isfinite(above):
        return float("inf")
    return float(below + (position - np.floor(position)) * (above - below))


def dry_run_odds(table: HourlyTable, days: Days, length: int) -> tuple[FloatArray, FloatArray]:
    """Return the chance of dry days on end: the shares of ``dry_runs``, each ``(days,)``."""
    runs, ended = dry_runs(table, days, length)
    share = tuple(range(runs.ndim - 1))
    return runs.mean(axis=share), ended.mean(axis=share)


def dry_runs(table: HourlyTable, days: Days, length: int) -> tuple[BoolArray, BoolArray]:
    """Return where dry days on end begin, and by when they have been.

    Parameters
    ----------
    table : HourlyTable
        Rain ``(scenarios, hours)``.
    days : Days
    length : int
        Days on end; a day is dry under 0.01 in. in all.

    Returns
    -------
    runs, ended : (scenarios, days)
        Whether such a run begins on the day; and whether one has ended by the evening of the day.
        A day that is not known is not dry.
    """
    with np.errstate(invalid="ignore"):
        dry = days.sums(table.column("precipitation_amount_mm")) < WET_HOUR_MM
    count = np.cumsum(np.pad(dry.astype(np.int64), [(0, 0)] * (dry.ndim - 1) + [(1, 0)]), axis=-1)
    runs = np.zeros(dry.shape, dtype=bool)
    runs[..., : dry.shape[-1] - length + 1] = count[..., length:] - count[..., :-length] == length
    ended = np.zeros(dry.shape, dtype=bool)
    ended[..., length - 1 :] = runs[..., : dry.shape[-1] - length + 1]
    return runs, np.logical_or.accumulate(ended, axis=-1)


def window_chance(workable: BoolArray, start: int, hours: int) -> float:
    """Return the chance that every hour of a window is fit for work.

    Parameters
    ----------
    workable : (scenarios, hours)
        Hours with a verdict of go, or go with protection that is on hand; not known is not fit.
    start, hours : int
        The window.
    """
    if start < 0 or start + hours > workable.shape[-1]:
        return 0.0  # a window that runs out of the season cannot be kept
    return float(workable[..., start : start + hours].all(axis=-1).mean())


def workable_left(workable: BoolArray, days: Days) -> Mapping[int, FloatArray]:
    """Return the workable hours left from each day's morning to the season's end.

    Returns
    -------
    {10, 50, 90: (days,)}
        In 10, 50 and 90 of 100 scenarios there are no more than so many. [h]
    """
    each = days.sums(workable.astype(np.float64))
    left = np.cumsum(each[..., ::-1], axis=-1)[..., ::-1]
    marks = np.percentile(left.reshape(-1, left.shape[-1]), PERCENTS, axis=0, method="lower")
    return {percent: marks[place] for place, percent in enumerate(PERCENTS)}
