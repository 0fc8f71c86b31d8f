"""One row of the book over hours: its verdict for each hour of work, or for each start.

``rules/judge.py`` puts rows together; here stands how one of them is read.
"""

from __future__ import annotations

from functools import cache, reduce
from math import ceil, floor
from typing import Final

import numpy as np

from rules.book import measures
from rules.book_rows import Band, Row, TakenAs
from rules.conditions import (
    age_conditions,
    fixed_conditions,
    hourly_conditions,
    where_it_applies,
    window_conditions,
)
from rules.facts import Asked, Since, Stated, band_of, counts, edges, is_asked, stated
from rules.moments import Moment
from rules.quantities import is_fact, si_unit, weather_columns
from rules.units import convert
from rules.verdict import FloatArray, Verdict, VerdictArray
from rules.weather import Hours, Weather, meets
from rules.windows import HourIndex, is_run, take
from rules.words import site_quantities

NEVER: Final = 2**30
GO, NOT_KNOWN, NO_GO = np.int8(Verdict.GO), np.int8(Verdict.NOT_KNOWN), np.int8(Verdict.NO_GO)
# What a start hour and its finish can place. The dry hours that a document asks for are judged
# with the document; a row that counts them looks up to the end of the work.
TABLE_ANCHORS: Final = {"start": "start", "end": "end", "dry_end": "end"}


def is_by_hour(row: Row) -> bool:
    """Tell whether a row judges each hour of work on its own, from weather."""
    if not row.quantity or is_on_site(row):
        return False
    return row.taken_as == "value" or _is_worst_hour_of_work(row)


def _is_worst_hour_of_work(row: Row) -> bool:
    """Tell whether a row takes the worst hour of the work itself.

    Judged hour by hour that is the same, and work that pauses is not held by hours between.
    """
    if row.hours is None or row.also_taken_as or row.counted is not None:
        return False
    begin, over = row.hours.from_, row.hours.until
    work = begin == Moment("start") and over in (Moment("end"), Moment("dry_end"))
    return work and row.taken_as == ("min" if row.low_is_worse else "max")


def is_by_start(row: Row) -> bool:
    """Tell whether a row looks at weather over hours placed by the work's start and end."""
    if row.hours is None or is_on_site(row) or row.taken_as == "count":
        return False
    placed = {row.hours.from_.anchor, row.hours.until.anchor} <= TABLE_ANCHORS.keys()
    return placed and not _is_worst_hour_of_work(row)


def is_on_site(row: Row) -> bool:
    """Tell whether a row's quantity is a fact or is read on site, not told by the weather."""
    name = row.quantity
    return (
        row.on_site
        or is_fact(name)
        or (name in site_quantities() and name not in weather_columns())
    )


# One row


def row_by_hour(row: Row, asked: Asked, weather: Weather) -> VerdictArray:
    """Judge every hour by one placing limit, (..., hours)."""
    applies = fixed_conditions(row, asked)
    if applies is False or row.only_advises:
        return np.zeros(weather.hours, dtype=np.int8)
    outcomes = codes(row, asked)

    def judge() -> VerdictArray:
        hours = weather.for_row(row)
        if hours is None:
            graded = np.full(weather.hours, absent(row), dtype=np.int8)
        else:
            graded = grade(hours.values, row, outcomes, may_be_nan=not hours.whole)
        return where_it_applies(graded, applies, hourly_conditions(row, weather))

    known = weather.remembered(("hour", outcomes.tobytes(), applies), row, judge)
    return where_it_applies(known, True, age_conditions(row, asked, weather.hours))


def row_by_start(row: Row, asked: Asked, weather: Weather, ends: HourIndex) -> VerdictArray:
    """Judge every start by one row over hours, (..., hours).

    A window that hangs on one event alone is judged once for that event at every hour; a start
    then looks up the hour at which its work is over.
    """
    applies = fixed_conditions(row, asked)
    if applies is False or row.hours is None or row.only_advises:
        return np.zeros(weather.hours, dtype=np.int8)
    outcomes = codes(row, asked)
    anchor, last = (TABLE_ANCHORS[m.anchor] for m in (row.hours.from_, row.hours.until))
    ages = age_conditions(row, asked, weather.hours)
    if anchor != last:
        placed = _judge_windows(row, outcomes, applies, weather, *window(row, ends))
        return where_it_applies(placed, True, ages)
    events = np.arange(weather.hours + 1, dtype=np.int64)

    def judge() -> VerdictArray:
        return _judge_windows(row, outcomes, applies, weather, *window(row, events, events))

    at_event = weather.remembered(("event", outcomes.tobytes(), applies), row, judge)
    found = at_event[..., :-1] if anchor == "start" else _at_ends(at_event, ends)
    return where_it_applies(found, True, ages)


def _at_ends(at_event: VerdictArray, ends: HourIndex) -> VerdictArray:
    """Look up each start's end; an end past the table is NOT_KNOWN."""
    hours = at_event.shape[-1] - 1
    if is_run(ends) and 0 <= ends[0] <= hours:
        inside = at_event[..., int(ends[0]) :][..., : ends.size]
        rest = [(0, 0)] * (inside.ndim - 1) + [(0, ends.size - inside.shape[-1])]
        return np.pad(inside, rest, constant_values=NOT_KNOWN)
    found = take(at_event, np.minimum(ends, hours))
    late = ends > hours
    return np.where(late, NOT_KNOWN, found) if late.any() else found


def _judge_windows(
    row: Row,
    outcomes: VerdictArray,
    applies: bool | None,
    weather: Weather,
    low: HourIndex,
    high: HourIndex,
) -> VerdictArray:
    def look(name: str, what: Hours, way: TakenAs) -> FloatArray:
        return weather.taken((name, tuple(row.given.items())), what, way, low, high)

    hours = counted_hours(row, weather)
    conditions = window_conditions(row, weather, look)
    if hours is None:
        missing = np.full(low.shape[-1], absent(row), dtype=np.int8)
        return where_it_applies(missing, applies, conditions)
    own = (row.quantity, row.unit, row.substitutes, row.counted, tuple(row.given.items()))
    graded = [
        grade(weather.taken(own, hours, way, low, high), row, outcomes, may_be_nan=True)
        for way in (row.taken_as, *row.also_taken_as)
    ]
    verdict = reduce(np.maximum, graded)
    if row.if_no_record == "check" and (low < 0).any():
        verdict = np.where((low < 0) & (verdict == NOT_KNOWN), GO, verdict)
    return where_it_applies(verdict, applies, conditions)


def row_on_site(row: Row, asked: Asked, weather: Weather) -> VerdictArray:
    """Judge by facts and readings while they count, (..., hours); GO where nobody knows.

    The newest of every place is looked at, and the gravest decides.
    """
    out = np.zeros(weather.hours, dtype=np.int8)
    told = stated(row.quantity, asked.facts, float(asked.now))
    applies = fixed_conditions(row, asked)
    if not told or applies is False:
        return out
    for one in told:
        out = np.maximum(out, _while_it_counts(row, one, asked, weather.hours))
    fixed = where_it_applies(out, applies, age_conditions(row, asked, weather.hours))
    return where_it_applies(fixed, True, hourly_conditions(row, weather))


def _while_it_counts(row: Row, one: Stated, asked: Asked, hours: int) -> VerdictArray:
    table = np.arange(hours, dtype=np.float64)
    if isinstance(one.value, Since):  # the SI unit of time is the hour
        return grade(
            np.maximum(table - one.value.hour, 0.0), row, codes(row, asked), may_be_nan=False
        )
    band = band_of(one.value, row.bands, row.unit)
    here = NOT_KNOWN if band is None else code(row, band, asked)
    counting = counts(one, row.reading_age_h, table, bad=here > GO, now=float(asked.now))
    return np.where(counting, here, GO).astype(np.int8)


def absent(row: Row) -> np.int8:
    """Return what a row says where no source provides its quantity."""
    return GO if row.if_absent == "check" else NOT_KNOWN


def grade(
    values: FloatArray, row: Row, outcomes: VerdictArray, *, may_be_nan: bool
) -> VerdictArray:
    """Put SI values into a row's bands.

    Edges are compared in the clause's own unit: each is converted with a tolerance on its
    owner's side, so that 40 °F read as 4.4444 °C is the edge itself.

    Returns
    -------
    (..., hours)
        The outcome of each value's band; NOT_KNOWN where it is NaN.
    """
    si = si_unit(row.unit)
    out = np.full(values.shape, outcomes[0], dtype=np.int8)
    steps = zip(edges(row.bands), np.diff(outcomes), strict=True)
    for edge, step in steps:
        if step:  # neighbours of one outcome need no look
            out += step * (values > convert(edge, row.unit, si)).view(np.int8)
    if may_be_nan:
        missing = np.isnan(values)
        if missing.any():
            out[missing] = NOT_KNOWN
    return out


def codes(row: Row, asked: Asked) -> VerdictArray:
    """Return each band's verdict with the measures to be had, (bands,)."""
    return np.array([code(row, band, asked) for band in row.bands], dtype=np.int8)


def code(row: Row, band: Band, asked: Asked) -> np.int8:
    """Return a band's verdict; NO_GO where it needs a measure that is not to be had."""
    if band.outcome is Verdict.GO_WITH_PROTECTION and missing_measures(row, band, asked):
        return NO_GO
    return np.int8(band.outcome)


def missing_measures(row: Row, band: Band, asked: Asked) -> list[tuple[str, ...]]:
    """Return the measures a band asks for, any of each group, of which none is to be had."""
    if asked.measures is None:
        return []
    to_be_had = at_hand(asked.measures)
    return [
        need.measure
        for need in (*row.measures, *band.measures)
        if is_asked(need, asked.facts) and to_be_had.isdisjoint(need.measure)
    ]


@cache
def at_hand(to_be_had: frozenset[str]) -> frozenset[str]:
    """Return the measures to be had, those they take the place of, and plain workmanship."""
    book = measures()
    weaker = {name for m in to_be_had if m in book for name in book[m].does_also}
    workmanship = {name for name, measure in book.items() if measure.workmanship}
    return frozenset(to_be_had | weaker | workmanship)


# Windows


def window(
    row: Row, ends: HourIndex, starts: HourIndex | None = None
) -> tuple[HourIndex, HourIndex]:
    """Return the first hour of a row's window for each start, and the hour after its last.

    Parameters
    ----------
    ends : (starts,) or (..., starts)
        Where the work is over; ``NEVER`` counts as one hour.
    starts : (starts,)
        Where it begins, each hour of the table unless given.
    """
    if row.hours is None:
        raise ValueError(f"{row.id} looks at no hours")
    begun = np.arange(ends.shape[-1], dtype=np.int64) if starts is None else starts
    over = np.where(ends >= NEVER, begun + 1, ends)
    edges_ = ((row.hours.from_, floor), (row.hours.until, ceil))
    low, high = (
        (begun if TABLE_ANCHORS[moment.anchor] == "start" else over) + whole(moment.offset_h)
        for moment, whole in edges_
    )
    return low, high


def counted_hours(row: Row, weather: Weather) -> Hours | None:
    """Return a row's quantity, or ones and zeros of the hours that a duration counts."""
    hours = weather.for_row(row)
    if hours is None or row.counted is None:
        return hours
    counted = meets(hours.values, row.counted).astype(np.float64)
    if not hours.whole:
        counted[np.isnan(hours.values)] = np.nan
    return Hours(counted, hours.reach, hours.has_gap, hours.stands_in, hours.substitutes)
