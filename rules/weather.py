"""Weather as the book reads it: quantities by hour, how far they reach, and their aggregates.

Columns are house columns (``air_temperature_c``), each ``(..., hours)``. NaN at the end of a
column is where its source stops; NaN before that is a gap. Results are remembered, so that many
rows and tasks that look at the same hours cost one look.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.book_rows import Condition, Row, Substitute, TakenAs
from rules.quantities import computed, inputs_of, si_unit, weather_columns
from rules.units import convert
from rules.verdict import FloatArray, VerdictArray
from rules.windows import HourIndex, is_run, least_between, running_total, sum_between

BoolArray = NDArray[np.bool_]
EDGE_TOLERANCE: Final = 1e-6  # binary noise of converted values, in the clause's unit


@dataclass(frozen=True, slots=True)
class Hours:
    """One quantity by hour, in SI."""

    values: FloatArray  # (..., hours)
    reach: HourIndex  # (..., 1) hour after the last one that its source gives
    has_gap: bool  # NaN before the reach
    stands_in: BoolArray | None = None  # where a substitute is used
    substitutes: tuple[Substitute, ...] = ()

    @property
    def whole(self) -> bool:
        """Tell whether every hour is known."""
        return not self.has_gap and bool((self.reach == self.values.shape[-1]).all())


def hours_of(values: FloatArray) -> Hours:
    """Return a column with its reach."""
    missing = np.isnan(values)
    size = values.shape[-1]
    if not missing.any():
        return Hours(values, np.full((1,), size), has_gap=False)
    known = ~missing
    reach = np.where(known.any(axis=-1), size - np.argmax(known[..., ::-1], axis=-1), 0)[..., None]
    inside = missing & (np.arange(size) < reach)
    return Hours(values, reach, has_gap=bool(inside.any()))


@dataclass(slots=True)
class Weather:
    """House columns, and what was already worked out from them."""

    columns: Mapping[str, FloatArray]
    hours: int
    before: Mapping[str, FloatArray] = field(default_factory=dict)  # (back,) hours gone by
    _begun: list[Weather] = field(default_factory=list)
    _quantities: dict[object, Hours | None] = field(default_factory=dict)
    _taken: dict[object, FloatArray] = field(default_factory=dict)
    _verdicts: dict[object, tuple[Row, VerdictArray]] = field(default_factory=dict)

    def with_past(self) -> tuple[Weather, int]:
        """Return the same weather begun with the hours gone by, and how many those are."""
        back = max((values.shape[-1] for values in self.before.values()), default=0)
        if not back:
            return self, 0
        if not self._begun:
            columns = {
                name: _after(self.before.get(name, np.full(back, np.nan)), values)
                for name, values in self.columns.items()
            }
            self._begun.append(Weather(columns, self.hours + back))
        return self._begun[0], back

    def quantity(self, name: str, given: Mapping[str, float]) -> Hours | None:
        """Return a quantity by its name in the book; None where no column provides it."""
        key = (name, tuple(sorted(given.items())))
        if key not in self._quantities:
            values = self._values(name, given)
            self._quantities[key] = None if values is None else hours_of(values)
        return self._quantities[key]

    def _values(self, name: str, given: Mapping[str, float]) -> FloatArray | None:
        if name in weather_columns():
            return self.columns.get(weather_columns()[name][0])
        function = computed(name)
        if function is None:
            return None
        inputs: dict[str, FloatArray] = {}
        for argument, needed in inputs_of(name):
            if argument in self.columns:
                inputs[argument] = self.columns[argument]
            elif argument in given:
                inputs[argument] = np.asarray(given[argument], dtype=np.float64)
            elif needed:
                return None
        values = function(**inputs)
        return np.broadcast_to(values, (*values.shape[:-1], self.hours)) if values.ndim else None

    def for_row(self, row: Row) -> Hours | None:
        """Return a row's quantity, its substitutes standing in where it is absent or has ended."""
        key = ("row", row.quantity, row.unit, tuple(row.given.items()), row.substitutes)
        if key not in self._quantities:
            own = self.quantity(row.quantity, row.given)
            self._quantities[key] = self._substituted(row, own) if row.substitutes else own
        return self._quantities[key]

    def _substituted(self, row: Row, own: Hours | None) -> Hours | None:
        result = own
        for substitute in row.substitutes:
            other = self.quantity(substitute.quantity, row.given)
            if other is None or (result is not None and (result.reach == self.hours).all()):
                continue
            result = _stood_in(row, result, substitute, other)
        return result

    def taken(
        self, name: object, hours: Hours, taken_as: TakenAs, low: HourIndex, high: HourIndex
    ) -> FloatArray:
        """Return an aggregate over each window; NaN where it is not known.

        A mean needs every hour of its window. A least, greatest or sum needs its first hour and
        no gap: hours past the column's end are left out and what is known decides.

        Parameters
        ----------
        name
            What tells this quantity from others.
        hours : Hours
            The quantity.
        low, high : (starts,) or (..., starts)
            First hour of each window, and the hour after its last.
        """
        if not (is_run(low) and is_run(high)):
            return _aggregate(hours, taken_as, low, high)
        key = (name, taken_as, int(low[0]), int(high[0]), low.size)
        if key not in self._taken:
            self._taken[key] = _aggregate(hours, taken_as, low, high)
        return self._taken[key]

    def remembered(self, key: object, row: Row, judge: Callable[[], VerdictArray]) -> VerdictArray:
        """Return a row's verdicts, worked out once; kept with the row so that it stays itself."""
        full = (id(row), key)
        if full not in self._verdicts:
            self._verdicts[full] = (row, judge())
        return self._verdicts[full][1]


def _after(gone: FloatArray, values: FloatArray) -> FloatArray:
    wide = np.broadcast_to(gone, (*values.shape[:-1], gone.shape[-1]))
    return np.concatenate([wide, values], axis=-1)


def _stood_in(row: Row, own: Hours | None, substitute: Substitute, other: Hours) -> Hours:
    si = si_unit(row.unit)
    if substitute.while_below is not None:
        limit = convert(substitute.while_below, substitute.unit, si_unit(substitute.unit))
        gives = float(convert(substitute.gives, row.unit, si))
        more = np.nan if substitute.otherwise is None else substitute.otherwise
        wet = np.where(np.isnan(other.values), np.nan, float(convert(more, row.unit, si)))
        theirs = np.where(other.values < limit - EDGE_TOLERANCE, gives, wet)
    else:
        theirs = other.values * substitute.factor
    if own is None:
        used = np.isfinite(theirs)
        made = hours_of(theirs)
        return Hours(made.values, other.reach, made.has_gap, used, (substitute,))
    beyond = np.arange(theirs.shape[-1]) >= own.reach
    values = np.where(beyond, theirs, own.values)
    reach = np.maximum(own.reach, other.reach)
    gap = bool((np.isnan(values) & (np.arange(values.shape[-1]) < reach)).any())
    used = beyond & np.isfinite(theirs)
    earlier = own.stands_in
    used = used if earlier is None else used | earlier
    return Hours(values, reach, gap, used, (*own.substitutes, substitute))


def _aggregate(hours: Hours, taken_as: TakenAs, low: HourIndex, high: HourIndex) -> FloatArray:
    if taken_as == "midpoint":
        least = _aggregate(hours, "min", low, high)
        return _known_to_the_end(hours, high, (least + _aggregate(hours, "max", low, high)) / 2.0)
    if taken_as in ("sum", "mean", "duration"):
        out = _total(hours, low, high)
        if taken_as == "mean":
            width = np.maximum(high - low, 1)
            out = _known_to_the_end(hours, high, out / width)
    else:
        sign = 1.0 if taken_as == "min" else -1.0
        values = hours.values if sign > 0 else -hours.values
        if not hours.whole:
            beyond = np.arange(values.shape[-1]) >= hours.reach
            values = np.where(beyond, np.inf, values)
        out = sign * least_between(values, low, high)
    return _begun_inside(hours, low, high, out)


def _total(hours: Hours, low: HourIndex, high: HourIndex) -> FloatArray:
    if hours.whole:
        return sum_between(running_total(hours.values), low, high)
    missing = np.isnan(hours.values)
    out = sum_between(running_total(np.where(missing, 0.0, hours.values)), low, high)
    if not hours.has_gap:
        return out
    inside = missing & (np.arange(missing.shape[-1]) < hours.reach)
    holes = sum_between(running_total(inside.astype(np.float64)), low, high)
    return np.where(holes > 0.5, np.nan, out)


def _known_to_the_end(hours: Hours, high: HourIndex, values: FloatArray) -> FloatArray:
    late = high > hours.reach
    return np.where(late, np.nan, values) if late.any() else values


def _begun_inside(hours: Hours, low: HourIndex, high: HourIndex, values: FloatArray) -> FloatArray:
    """Blank windows that begin before the table or at its end, and those without hours."""
    outside = (low < 0) | (low >= hours.reach) | (high <= low)
    return np.where(outside, np.nan, values) if outside.any() else values


def meets(values: FloatArray, condition: Condition) -> BoolArray:
    """Tell which SI values meet a condition's bound, the edge exact in the condition's unit."""
    out = np.ones(values.shape, dtype=np.bool_)
    for bound, sign, inclusive in (
        (condition.above, 1.0, False),
        (condition.at_least, 1.0, True),
        (condition.below, -1.0, False),
        (condition.at_most, -1.0, True),
    ):
        if bound is None:
            continue
        slack = -EDGE_TOLERANCE if inclusive else EDGE_TOLERANCE
        edge = convert(bound + sign * slack, condition.unit, si_unit(condition.unit))
        out &= (values > edge) if sign > 0 else (values < edge)
    return out
