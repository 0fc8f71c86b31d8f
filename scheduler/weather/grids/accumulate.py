"""Amounts over intervals, however they overlap, into amounts by hour; nothing is added twice.

Files give rain since the start, rain of the last hour, buckets that restart, or several at once.
Each interval is one equation between two moments: the running total at its end minus that at its
start. Moments that equations connect have a known difference, so hours follow from differences,
and an interval that says nothing new is only compared. The result is linear in the amounts,
which makes one plan serve a site, many sites and a whole grid.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from rules.verdict import FloatArray

HOUR = 60  # minutes
Shares = dict[int, float]  # interval: factor


@dataclass(frozen=True, slots=True)
class Plan:
    """How amounts of intervals make hours: ``hourly = shares @ amounts``."""

    first_hour: int  # hours after the run
    shares: FloatArray  # (hours, intervals)
    known: NDArray[np.bool_]  # (hours,) wholly covered by intervals
    spread: NDArray[np.bool_]  # (hours,) an even share of a longer interval

    def apply(self, amounts: FloatArray) -> FloatArray:
        """Return amounts by hour.

        Parameters
        ----------
        amounts : (..., intervals)
            In the order of the plan's intervals; NaN where not known.

        Returns
        -------
        (..., hours)
            NaN where an hour is not covered or needs an amount that is NaN.
        """
        gaps = np.isnan(amounts)
        hourly = np.where(gaps, 0.0, amounts) @ self.shares.T
        if gaps.any():
            hourly[(gaps.astype(np.float64) @ (self.shares.T != 0)) > 0] = np.nan
        hourly[..., ~self.known] = np.nan
        return hourly


def plan_hours(intervals: Sequence[tuple[int, int]]) -> Plan:
    """Plan how intervals, in minutes after the run, are shared out to hours.

    Shorter intervals are believed first; a piece longer than an hour is shared out evenly.
    """
    first = min(start for start, _ in intervals) // HOUR
    last = -(-max(end for _, end in intervals) // HOUR)
    marks = {moment for interval in intervals for moment in interval}
    marks |= set(range(first * HOUR, last * HOUR + 1, HOUR))
    slots = _Slots(sorted(marks))
    for start, end, shares in sorted(_pieces(intervals), key=lambda p: (p[1] - p[0], p[0])):
        slots.fill(start, end, shares)
    return slots.plan(first, last - first, len(intervals))


def _pieces(intervals: Sequence[tuple[int, int]]) -> list[tuple[int, int, Shares]]:
    """Return the spans between neighbouring connected moments, as sums of intervals."""
    totals: dict[int, tuple[int, Shares]] = {}  # moment: root of its group, total since the root
    groups: dict[int, list[int]] = {}
    order = sorted(range(len(intervals)), key=lambda i: (intervals[i][1] - intervals[i][0], i))
    for number in order:
        start, end = intervals[number]
        for moment in (start, end):
            if moment not in totals:
                totals[moment], groups[moment] = (moment, {}), [moment]
        (root, at_start), (other, at_end) = totals[start], totals[end]
        if root == other:
            continue
        shift = _sum(at_start, {number: 1.0}, at_end, last=-1.0)
        for moment in groups.pop(other):
            totals[moment] = (root, _sum(totals[moment][1], shift))
            groups[root].append(moment)
    pieces = []
    for moments in groups.values():
        moments.sort()
        for start, end in zip(moments, moments[1:], strict=False):
            pieces.append((start, end, _sum(totals[end][1], totals[start][1], last=-1.0)))
    return pieces


def _sum(*parts: Shares, last: float = 1.0) -> Shares:
    """Add shares up, the last part with a factor; what cancels out is dropped."""
    total: Shares = {}
    for part, factor in zip(parts, [1.0] * (len(parts) - 1) + [last], strict=True):
        for number, share in part.items():
            total[number] = total.get(number, 0.0) + factor * share
    return {number: share for number, share in total.items() if abs(share) > 1e-12}


@dataclass(slots=True)
class _Slots:
    """The time between neighbouring marks, each with its share of the amounts once known."""

    marks: list[int]
    shares: dict[int, Shares] = field(default_factory=dict)  # slot number: shares
    spread: set[int] = field(default_factory=set)

    def fill(self, start: int, end: int, shares: Shares) -> None:
        """Give a piece to its slots; where some are known already, the rest of it."""
        slots = range(self.marks.index(start), self.marks.index(end))
        open_slots = [slot for slot in slots if slot not in self.shares]
        for slot in slots:
            if slot in self.shares:
                shares = _sum(shares, self.shares[slot], last=-1.0)
        minutes = sum(self._minutes(slot) for slot in open_slots)
        for slot in open_slots:
            part = self._minutes(slot) / minutes
            self.shares[slot] = {number: share * part for number, share in shares.items()}
            if minutes > HOUR:
                self.spread.add(slot)

    def _minutes(self, slot: int) -> int:
        return self.marks[slot + 1] - self.marks[slot]

    def plan(self, first: int, hours: int, intervals: int) -> Plan:
        """Add slots up to hours."""
        matrix = np.zeros((hours, intervals))
        covered = np.zeros(hours)
        spread = np.zeros(hours, dtype=np.bool_)
        for slot, shares in self.shares.items():
            hour = self.marks[slot] // HOUR - first
            covered[hour] += self._minutes(slot)
            spread[hour] |= slot in self.spread
            for number, share in shares.items():
                matrix[hour, number] += share
        return Plan(first, matrix, covered == HOUR, spread)


def settle(hourly: FloatArray, slack: float) -> tuple[FloatArray, int]:
    """Take rounding out of differences: no hour is negative, the total stays.

    Parameters
    ----------
    hourly : (..., hours)
        Amounts by hour; differences of rounded totals may fall a little below zero.
    slack : float
        How far below zero is still rounding; further below, the hour becomes NaN.

    Returns
    -------
    (..., hours) and int
        Amounts, and how many hours fell too far.
    """
    fallen = hourly < -slack
    kept = np.where(fallen, np.nan, hourly)
    total = np.maximum.accumulate(np.nancumsum(kept, axis=-1), axis=-1)
    total = np.maximum(total, 0.0)
    steps = np.diff(total, axis=-1, prepend=0.0)
    return np.where(np.isnan(kept), np.nan, steps), int(fallen.sum())
