"""Amounts over intervals, however they overlap, into amounts by hour; nothing is added twice.

Files give rain since the start, rain of the last hour, buckets that restart, or several at once.
Each interval is one equation between two moments: the running total at its end minus that at its
start. Moments that equations connect have a known difference, so hours follow from differences,
and an interval that says nothing new is only compared. The result is linear in the amounts,
which makes one plan serve a site, many sites and a whole grid.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rules.verdict import FloatArray

HOUR = 60  # minutes
Shares = dict[int, float]  # interval: factor


@dataclass(frozen=True, slots=True)
class Plan:
    """How amounts of intervals make hours: ``hourly = shares @ amounts``."""

    first_hour: int  # in hours of the intervals' own zero
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
    """Plan how intervals, in minutes from any whole hour, are shared out to hours.

    Shorter intervals are believed first; a piece longer than an hour is shared out evenly. Pieces
    that cross each other get the most even shares that keep the amount of each of them.
    """
    pieces = _pieces(intervals)
    first = min(start for start, _ in intervals) // HOUR
    last = -(-max(end for _, end in intervals) // HOUR)
    marks = np.unique([*np.array(intervals).ravel(), *range(first * HOUR, last * HOUR + 1, HOUR)])
    minutes, hour = np.diff(marks), marks[:-1] // HOUR - first
    inside = np.array([(marks[:-1] >= a) & (marks[1:] <= b) for a, b, _ in pieces])
    weighted = inside * minutes  # (pieces, slots)
    even = weighted.T @ np.linalg.pinv(weighted @ inside.T, hermitian=True)  # (slots, pieces)
    into_hours = (hour == np.arange(last - first)[:, np.newaxis]).astype(np.float64)
    matrix = np.zeros((len(pieces), len(intervals)))
    for number, (_, _, shares) in enumerate(pieces):
        matrix[number, list(shares)] = list(shares.values())
    shares_of = into_hours @ even @ matrix
    shares_of[np.abs(shares_of) < 1e-9] = 0.0
    lengths = np.array([[end - start] for start, end, _ in pieces])
    shortest = np.where(inside, lengths, np.iinfo(np.int64).max).min(axis=0)
    return Plan(
        first_hour=first,
        shares=shares_of,
        known=into_hours @ (inside.any(axis=0) * minutes) == HOUR,
        spread=into_hours @ (inside.any(axis=0) & (shortest > HOUR)) > 0,
    )


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
        for start, end in pairwise(moments):
            pieces.append((start, end, _sum(totals[end][1], totals[start][1], last=-1.0)))
    return pieces


def _sum(*parts: Shares, last: float = 1.0) -> Shares:
    """Add shares up, the last part with a factor; what cancels out is dropped."""
    total: Shares = {}
    for part, factor in zip(parts, [1.0] * (len(parts) - 1) + [last], strict=True):
        for number, share in part.items():
            total[number] = total.get(number, 0.0) + factor * share
    return {number: share for number, share in total.items() if abs(share) > 1e-12}


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
