"""From a cut to hours: moments, sums, means and chances laid on whole hours, in house columns.

Hours are labelled by their beginning. A moment speaks for the hour that it begins or lies in; a
sum or mean is shared out by :mod:`accumulate`; a maximum or a chance over an interval holds for
each of its hours. Every assumption that makes an hour is told in a finding.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.columns import columns
from rules.verdict import FloatArray
from scheduler.planning.tables.hours import Finding
from scheduler.weather.grids.accumulate import HOUR, plan_hours, settle
from scheduler.weather.grids.cut import PointValue
from scheduler.weather.grids.messages import FieldRow

GUST: Final = "wind_speed_of_gust_ms"
DIRECTION: Final = "wind_from_direction_deg"
LONGEST_H: Final = 24 * 400
SAME: Final = 0.1  # two statements of one value may differ this much by their packing
REGULAR_STEPS_H: Final = (3, 6)  # of public models beyond their hourly part
Member = tuple[int, int] | None
Span = tuple[int, int]  # minutes since 1970


@dataclass(slots=True)
class Laid:
    """One column on hours, before columns are put side by side."""

    row: FieldRow
    grid_key: str
    first: int  # hours since 1970
    values: FloatArray  # (members, hours)
    members: tuple[Member, ...]
    known: NDArray[np.int64] | None = None  # places of hours that moments gave; None: intervals
    findings: list[Finding] = field(default_factory=list)


def group_points(points: Iterable[PointValue]) -> dict[str, list[PointValue]]:
    """Return, for each column, the points of the one run, grid and row that serve it best.

    The newest run is taken, then the statement that knows most hours, then the first row. Two
    ways of saying the same amount are never put together.
    """
    groups: dict[str, dict[tuple[object, ...], list[PointValue]]] = defaultdict(dict)
    for point in points:
        key = (point.product.reference, point.grid_key, point.row.rank)
        groups[point.row.column].setdefault(key, []).append(point)
    return {column: max(ways.values(), key=_worth) for column, ways in groups.items()}


def _worth(way: list[PointValue]) -> tuple[float, int, int]:
    first = way[0]
    hours: set[int] = set()
    for point in way:
        start, end = point.product.minutes
        if not np.isnan(point.value):
            hours.update(range(start // HOUR, max(end, start + 1) // HOUR + (end == start)))
    return first.product.reference.timestamp(), len(hours), -first.row.rank


def lay(column: str, points: Sequence[PointValue]) -> Laid:
    """Lay one column's points on hours."""
    members: tuple[Member, ...] = tuple(sorted({p.product.member for p in points} - {None}))  # type: ignore[type-var]
    row = points[0].row
    laid = Laid(row, points[0].grid_key, 0, np.empty(0), members or (None,))
    if members and any(p.product.member is None for p in points):
        laid.findings.append(Finding(column, "members are used; the single forecast is not"))
    spans, values = _table(laid, points)
    instants = [span[0] == span[1] for span in spans]
    if all(instants):
        _lay_moments(laid, spans, values)
    elif row.statistic in ("sum", "mean") and not any(instants):
        _lay_amounts(laid, spans, values)
    else:
        _lay_covering(laid, spans, values)
    if laid.values.shape[-1] > LONGEST_H:
        laid.values = laid.values[:, :LONGEST_H]
        laid.findings.append(Finding(column, f"hours beyond {LONGEST_H} are left out"))
    if row.note:
        laid.findings.append(Finding(column, row.note))
    if any(p.product.odd_interval for p in points):
        what = "the stated start of its intervals contradicts their end; the end was believed"
        laid.findings.append(Finding(column, what))
    return laid


def _table(laid: Laid, points: Sequence[PointValue]) -> tuple[list[Span], FloatArray]:
    """Return the distinct spans and house values (members, spans); contradictions are gaps."""
    wanted = [p for p in points if p.product.member in laid.members]
    spans = sorted({p.product.minutes for p in wanted})
    values = np.full((len(laid.members), len(spans)), np.nan)
    house = laid.row.house(np.array([p.value for p in wanted]))
    torn = np.zeros(values.shape, dtype=np.bool_)
    for point, value in zip(wanted, house, strict=True):
        at = laid.members.index(point.product.member), spans.index(point.product.minutes)
        torn[at] |= bool(abs(values[at] - value) > SAME)
        values[at] = value
    if torn.any():
        values[torn] = np.nan
        what = "two different values for one time; neither is used"
        laid.findings.append(Finding(laid.row.column, what, int(torn.any(axis=0).sum())))
    return spans, values


def _lay_moments(laid: Laid, spans: Sequence[Span], values: FloatArray) -> None:
    """Let moments speak for their hour: several by their mean, gusts by the strongest."""
    hours = np.array([start // HOUR for start, _ in spans])
    which, first = np.unique(hours, return_index=True)
    if laid.row.column == DIRECTION:
        by_hour = values[:, first]
    elif laid.row.column == GUST:
        by_hour = np.maximum.reduceat(values, first, axis=-1)
    else:
        counts = np.diff(np.append(first, hours.size))
        by_hour = np.add.reduceat(values, first, axis=-1) / counts
    laid.first = int(which[0])
    laid.values = np.full((values.shape[0], int(which[-1]) - laid.first + 1), np.nan)
    laid.values[:, which - laid.first] = by_hour
    laid.known = which - laid.first


def bridge(column: str, laid: Laid) -> None:
    """Draw a straight line through the regular 3 or 6 hour steps of models; never over a hole.

    A step is regular where the step before or after it is as long: a missing file in an hourly
    run makes a step of two, and one in a 3-hourly run a lone step of six, which stay gaps.
    """
    if laid.known is None:
        return
    known, steps = laid.known, np.diff(laid.known)
    regular = np.zeros(steps.size, dtype=np.bool_)
    regular[1:] |= steps[1:] == steps[:-1]
    regular[:-1] |= steps[:-1] == steps[1:]
    regular &= np.isin(steps, REGULAR_STEPS_H)
    for left, step in zip(known[:-1][regular], steps[regular], strict=True):
        ends = laid.values[:, [left]], laid.values[:, [left + step]]
        share = np.arange(1, step) / step
        laid.values[:, left + 1 : left + step] = _between(column, *ends, share)
    if regular.any():
        how = "the stronger" if column == GUST else "a straight line"
        what = f"comes every {steps[regular].max()} h at the end; {how} between is assumed"
        hours = int((steps[regular] - 1).sum())
        laid.findings.append(Finding(column, what, hours))


def _between(column: str, left: FloatArray, right: FloatArray, share: FloatArray) -> FloatArray:
    """Return (members, steps) values between two ends."""
    if column == GUST:
        return np.broadcast_to(np.maximum(left, right), (left.shape[0], share.size))
    if column == DIRECTION:
        turn = (right - left + 180.0) % 360.0 - 180.0
        return (left + turn * share) % 360.0
    return left + (right - left) * share


def _lay_amounts(laid: Laid, spans: Sequence[Span], values: FloatArray) -> None:
    """Share sums and means of intervals out, by their differences."""
    column = laid.row.column
    lengths = np.array([(end - start) / HOUR for start, end in spans])
    amounts = values * lengths if laid.row.statistic == "mean" else values
    plan = plan_hours(spans)
    house = columns().get(column)
    slack = max(house.slack if house else 0.0, SAME)
    hourly, fallen = settle(plan.apply(amounts), slack)
    laid.first, laid.values = plan.first_hour, hourly
    if fallen:
        what = "a running total falls; those hours are not used"
        laid.findings.append(Finding(column, what, fallen))
    if plan.spread.any():
        longest = max(end - start for start, end in spans) // HOUR
        what = f"comes in intervals of up to {longest} h; the same for each of their hours"
        laid.findings.append(Finding(column, what, int(plan.spread.sum())))
    _compare(laid, spans, amounts)


def _compare(laid: Laid, spans: Sequence[Span], amounts: FloatArray) -> None:
    """Make hours unknown where a longer interval contradicts the sum of the shorter ones."""
    wrong = np.zeros(laid.values.shape, dtype=np.bool_)
    for number, (start, end) in enumerate(spans):
        low, high = start // HOUR - laid.first, end // HOUR - laid.first
        if start % HOUR or end % HOUR or np.isnan(laid.values[:, low:high]).any():
            continue
        total = laid.values[:, low:high].sum(axis=-1)
        allowed = np.maximum(1.0, 0.1 * np.abs(amounts[:, number]))
        if laid.row.column != "precipitation_amount_mm":
            allowed = np.maximum(allowed, 5.0 * (high - low))
        wrong[np.abs(total - amounts[:, number]) > allowed, low:high] = True
    if wrong.any():
        laid.values = np.where(wrong, np.nan, laid.values)
        what = "a longer interval contradicts the shorter ones in it; those hours are not used"
        laid.findings.append(Finding(laid.row.column, what, int(wrong.any(axis=0).sum())))


def _lay_covering(laid: Laid, spans: Sequence[Span], values: FloatArray) -> None:
    """Let a maximum or chance of an interval hold for each of its hours.

    Of several maxima that hold for an hour the least is the closest bound; of several chances
    the greatest is taken.
    """
    laid.first = min(start for start, _ in spans) // HOUR
    last = max(-(-max(end, start + 1) // HOUR) for start, end in spans)
    closer = np.fmax if laid.row.statistic == "chance" else np.fmin
    whole = np.full((values.shape[0], last - laid.first), np.nan)
    parts, minutes = np.full_like(whole, np.nan), np.zeros(whole.shape[-1])
    for (start, end), value in zip(spans, values.T, strict=True):
        low, high = start // HOUR - laid.first, -(-max(end, start + 1) // HOUR) - laid.first
        if end - start >= HOUR or end == start:
            whole[:, low:high] = closer(whole[:, low:high], value[:, np.newaxis])
        else:
            parts[:, low] = np.fmax(parts[:, low], value)
            minutes[low] += end - start
    laid.values = closer(whole, np.where(minutes >= HOUR, parts, np.nan))
    longest = max(end - start for start, end in spans) // HOUR
    if longest > 1:
        what = f"holds for intervals of up to {longest} h; the same for each of their hours"
        laid.findings.append(Finding(laid.row.column, what, int(laid.values.shape[-1])))
