"""Verdicts of the rule book over hours, for one forecast, 600 scenarios or a grid at once.

Public signatures
-----------------
``Asked(work_type, facts={}, measures=None, now=0)``
    What is asked about. ``facts`` holds what is known of the task and the site: keys of the task
    (``"task.grouted": True``), facts (``"grout.cement": "type_i_ii"``, ``"wall.height": (9.3,
    "ft")``) and readings (``"unit_core_temperature": (28.0, "degF")``). ``measures`` are those on
    hand or to be had; ``None`` takes all as to be had. ``now`` is the hour of the table at which
    readings were taken.
``Weather(columns, hours)`` from ``rules.weather``: house columns, each ``(..., hours)``. Give the
    same one to every call: it remembers what it worked out. For rows that look back, begin the
    table with the observed hours.
``hour_verdicts(book, asked, weather) -> int8 (..., hours)``
    Placing limits: may the work be under way in this hour.
``start_verdicts(book, asked, weather, finish) -> int8 (..., hours)``
    Rows over hours before, during and after: may the work begin at this hour. ``finish`` is
    ``(hours,)`` or ``(..., hours)``: the hour at whose beginning work begun at ``start`` is over,
    ``NEVER`` where it cannot be; a whole number means so many elapsed hours.
``start_and_work_verdicts(...)``
    Both together for work without a pause: the start row, and every hour up to its finish.
``rules.explain.explain(book, asked, weather, start, end)``
    Every row of one window with the value that decides, its hour, measures and source.

Values are ``rules.verdict.Verdict``: ``GO < GO_WITH_PROTECTION < NOT_KNOWN < NO_GO``; rows combine
by the largest. A gap, or a column that no source has, is NOT_KNOWN (unless the row says to check
on site). A band that asks for a measure that is not to be had is NO_GO here, for planning;
``explain`` still names the measure. Site readings nobody took bind nothing here: they are asked
for on site.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import reduce
from math import ceil, floor
from typing import Final

import numpy as np

from rules.book import Book, measures
from rules.book_rows import Band, Condition, Row, TakenAs
from rules.facts import Facts, all_hold, band_of, edges, is_asked
from rules.moments import Moment
from rules.quantities import is_fact, si_unit, weather_columns
from rules.units import convert
from rules.verdict import FloatArray, Verdict, VerdictArray
from rules.weather import BoolArray, Hours, Weather, meets
from rules.windows import HourIndex, least_between
from rules.words import site_quantities

NEVER: Final = 2**30
GO, NOT_KNOWN, NO_GO = np.int8(Verdict.GO), np.int8(Verdict.NOT_KNOWN), np.int8(Verdict.NO_GO)
TABLE_ANCHORS: Final = frozenset({"start", "end"})  # what a start hour and its finish can place


@dataclass(frozen=True, slots=True)
class Asked:
    """A kind of work, what is known of it and the site, and the measures to be had."""

    work_type: str
    facts: Facts = field(default_factory=dict)
    measures: frozenset[str] | None = None
    now: int = 0


def is_by_hour(row: Row) -> bool:
    """Tell whether a row judges each hour of work on its own, from weather."""
    return bool(row.quantity) and row.taken_as == "value" and not is_on_site(row)


def is_by_start(row: Row) -> bool:
    """Tell whether a row looks at weather over hours placed by the work's start and end."""
    if row.hours is None or is_on_site(row) or row.taken_as == "count":
        return False
    return {row.hours.from_.anchor, row.hours.until.anchor} <= TABLE_ANCHORS


def is_on_site(row: Row) -> bool:
    """Tell whether a row's quantity is a fact or is read on site, not told by the weather."""
    name = row.quantity
    return (
        row.on_site
        or is_fact(name)
        or (name in site_quantities() and name not in weather_columns())
    )


def hour_verdicts(book: Book, asked: Asked, weather: Weather) -> VerdictArray:
    """Judge each hour of work on its own.

    Returns
    -------
    (..., hours)
        The gravest verdict of the work type's placing limits and known site facts.
    """
    rows = book.rows_for(asked.work_type)
    parts = [row_by_hour(row, asked, weather) for row in rows if is_by_hour(row)]
    parts += [row_on_site(row, asked, weather) for row in rows if is_on_site(row)]
    return _gravest(parts, weather.hours)


def start_verdicts(
    book: Book, asked: Asked, weather: Weather, finish: HourIndex | int
) -> VerdictArray:
    """Judge each start by the hours before, during and after the work.

    Parameters
    ----------
    finish : (hours,) or (..., hours), or a number of elapsed hours
        Hour at whose beginning the work begun at each hour is over; ``NEVER`` where it cannot be.

    Returns
    -------
    (..., hours)
        The gravest verdict; NO_GO where the work is never over.
    """
    ends = finish_hours(finish, weather.hours)
    rows = book.rows_for(asked.work_type)
    out = _gravest(
        [row_by_start(row, asked, weather, ends) for row in rows if is_by_start(row)],
        weather.hours,
    )
    never = ends >= NEVER
    return np.where(never, NO_GO, out) if never.any() else out


def start_and_work_verdicts(
    book: Book, asked: Asked, weather: Weather, finish: HourIndex | int
) -> VerdictArray:
    """Judge each start of work without a pause by its hours and by the hours around it.

    Returns
    -------
    (..., hours)
        The gravest verdict. Work that runs past the table's end is NOT_KNOWN at best.
    """
    ends = finish_hours(finish, weather.hours)
    by_hour = hour_verdicts(book, asked, weather)
    begun = np.arange(weather.hours)
    bounded = np.where(ends >= NEVER, begun + 1, ends)
    worst = gravest_between(by_hour, begun, bounded)
    worst = np.where(bounded > weather.hours, np.maximum(worst, NOT_KNOWN), worst)
    return np.maximum(worst, start_verdicts(book, asked, weather, ends))


def gravest_between(verdicts: VerdictArray, low: HourIndex, high: HourIndex) -> VerdictArray:
    """Return the gravest verdict of hours ``low`` up to ``high``; GO where there is none."""
    least = least_between(-verdicts.astype(np.float64), low, high)
    return np.where(np.isfinite(least), -least, 0.0).astype(np.int8)


def finish_hours(finish: HourIndex | int, hours: int) -> HourIndex:
    """Return the hour at which work begun at each hour is over."""
    if isinstance(finish, (int, np.integer)):
        return np.arange(hours, dtype=np.int64) + int(finish)
    return np.asarray(finish, dtype=np.int64)


# One row


def row_by_hour(row: Row, asked: Asked, weather: Weather) -> VerdictArray:
    """Judge every hour by one placing limit, (..., hours)."""
    applies = fixed_conditions(row, asked)
    if applies is False:
        return np.zeros(weather.hours, dtype=np.int8)
    hours = weather.for_row(row)
    if hours is None:
        return np.full(weather.hours, absent(row), dtype=np.int8)
    graded = grade(hours.values, row, codes(row, asked), may_be_nan=not hours.whole)
    return _where_it_applies(graded, applies, hourly_conditions(row, weather))


def row_by_start(row: Row, asked: Asked, weather: Weather, ends: HourIndex) -> VerdictArray:
    """Judge every start by one row over hours, (..., hours)."""
    applies = fixed_conditions(row, asked)
    if applies is False:
        return np.zeros(weather.hours, dtype=np.int8)
    hours = counted_hours(row, weather)
    if hours is None:
        return np.full(weather.hours, absent(row), dtype=np.int8)
    low, high = window(row, ends)
    key = (row.quantity, row.substitutes, row.counted, _window_key(row, ends))
    outcome = codes(row, asked)
    graded = [
        grade(weather.taken(key, hours, way, low, high), row, outcome, may_be_nan=True)
        for way in (row.taken_as, *row.also_taken_as)
    ]
    verdict = reduce(np.maximum, graded)
    if row.if_no_record == "check" and (low < 0).any():
        verdict = np.where(low < 0, np.minimum(verdict, _known_or_go(verdict)), verdict)
    return _where_it_applies(verdict, applies, _window_conditions(row, weather, ends))


def _known_or_go(verdict: VerdictArray) -> VerdictArray:
    return np.where(verdict == NOT_KNOWN, GO, verdict)


def row_on_site(row: Row, asked: Asked, weather: Weather) -> VerdictArray:
    """Judge by a fact or reading while it counts, (..., hours); GO where nobody knows."""
    out = np.zeros(weather.hours, dtype=np.int8)
    value = asked.facts.get(row.quantity)
    applies = fixed_conditions(row, asked)
    if value is None or applies is False:
        return out
    band = band_of(value, row.bands, row.unit)
    until = None if row.reading_age_h is None else asked.now + ceil(row.reading_age_h)
    first = 0 if until is None else asked.now
    out[first:until] = NOT_KNOWN if band is None else code(row, band, asked)
    return _where_it_applies(out, applies, hourly_conditions(row, weather))


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
    out = np.full(values.shape, outcomes[0], dtype=np.int8)
    si = si_unit(row.unit)
    for edge, outcome in zip(edges(row.bands), outcomes[1:], strict=True):
        np.copyto(out, outcome, where=values > convert(edge, row.unit, si))
    if may_be_nan:
        np.copyto(out, NOT_KNOWN, where=np.isnan(values))
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
    to_be_had = asked.measures
    book = measures()
    return [
        need.measure
        for need in (*row.measures, *band.measures)
        if is_asked(need, asked.facts)
        and not any(name in to_be_had or book[name].workmanship for name in need.measure)
    ]


# Windows


def window(row: Row, ends: HourIndex) -> tuple[HourIndex, HourIndex]:
    """Return the first hour of a row's window for each start, and the hour after its last."""
    if row.hours is None:
        raise ValueError(f"{row.id} looks at no hours")
    bounded = np.where(ends >= NEVER, np.arange(ends.shape[-1]) + 1, ends)
    return _placed(row.hours.from_, bounded, up=False), _placed(row.hours.until, bounded, up=True)


def _placed(moment: Moment, ends: HourIndex, *, up: bool) -> HourIndex:
    steps = ceil(moment.offset_h) if up else floor(moment.offset_h)
    base = np.arange(ends.shape[-1], dtype=np.int64) if moment.anchor == "start" else ends
    return np.asarray(base + steps, dtype=np.int64)


def _window_key(row: Row, ends: HourIndex) -> object:
    if row.hours is None:
        return None
    anchors = {row.hours.from_.anchor, row.hours.until.anchor}
    at = ends.tobytes() if "end" in anchors else ends.shape[-1]
    return (row.hours.from_, row.hours.until, at)


def counted_hours(row: Row, weather: Weather) -> Hours | None:
    """Return a row's quantity, or ones and zeros of the hours that a duration counts."""
    hours = weather.for_row(row)
    if hours is None or row.counted is None:
        return hours
    counted = meets(hours.values, row.counted).astype(np.float64)
    if not hours.whole:
        counted[np.isnan(hours.values)] = np.nan
    return Hours(counted, hours.reach, hours.has_gap, hours.stands_in, hours.substitutes)


# Conditions


def _is_hourly(condition: Condition) -> bool:
    return condition.what in weather_columns() or (
        not is_fact(condition.what) and condition.what not in site_quantities()
    )


def fixed_conditions(row: Row, asked: Asked) -> bool | None:
    """Tell whether the conditions on facts hold: yes, no, or nobody knows."""
    when = all_hold((c for c in row.when if not _is_hourly(c)), asked.facts)
    if when is False:
        return False
    unless = [all_hold((c,), asked.facts) for c in row.unless if not _is_hourly(c)]
    if any(answer is True for answer in unless):
        return False
    return None if when is None or any(answer is None for answer in unless) else True


def hourly_conditions(row: Row, weather: Weather) -> list[tuple[BoolArray, BoolArray]]:
    """Return, for each condition on weather, where it is met and where that is known."""
    out = []
    for condition, wanted in _weather_conditions(row):
        hours = weather.quantity(condition.what, row.given)
        out.append(_met(hours, None if hours is None else hours.values, condition, wanted))
    return out


def _window_conditions(
    row: Row, weather: Weather, ends: HourIndex
) -> list[tuple[BoolArray, BoolArray]]:
    out = []
    low, high = window(row, ends)
    for condition, wanted in _weather_conditions(row):
        hours = weather.quantity(condition.what, row.given)
        way: TakenAs = condition.taken_as or "mean"
        key = ("condition", condition.what, _window_key(row, ends))
        values = None if hours is None else weather.taken(key, hours, way, low, high)
        out.append(_met(hours, values, condition, wanted))
    return out


def _weather_conditions(row: Row) -> Iterable[tuple[Condition, bool]]:
    yield from ((c, True) for c in row.when if _is_hourly(c))
    yield from ((c, False) for c in row.unless if _is_hourly(c))


def _met(
    hours: Hours | None, values: FloatArray | None, condition: Condition, wanted: bool
) -> tuple[BoolArray, BoolArray]:
    if hours is None or values is None:
        always, never = np.array([True]), np.array([False])
        match condition.if_unknown:
            case "apply":
                return always, always
            case "skip":
                return never, always
            case _:
                return always, never
    met = meets(values, condition)
    return (met if wanted else ~met), ~np.isnan(values)


def _where_it_applies(
    verdict: VerdictArray, fixed: bool | None, hourly: list[tuple[BoolArray, BoolArray]]
) -> VerdictArray:
    """Keep a verdict where its conditions hold; where one is not known, NOT_KNOWN at most."""
    if fixed is True and not hourly:
        return verdict
    out = verdict
    unsure = np.array([fixed is None])
    for met, known in hourly:
        out = np.where(known & ~met, GO, out)
        unsure = unsure | ~known
    return np.where(unsure, np.minimum(out, NOT_KNOWN), out) if unsure.any() else out


def _gravest(parts: list[VerdictArray], hours: int) -> VerdictArray:
    out: VerdictArray = reduce(np.maximum, parts, np.zeros(hours, dtype=np.int8))
    return out
