"""One row of the book over hours: its verdict for each hour of work, or for each start.

``rules/judge.py`` puts rows together; here stands how one of them is read.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, reduce
from math import ceil, floor
from typing import Final

import numpy as np

from rules.book import measures
from rules.book_rows import Band, Need, Row, TakenAs
from rules.conditions import (
    age_conditions,
    fixed_conditions,
    hourly_conditions,
    where_it_applies,
    window_conditions,
)
from rules.facts import (
    UNTOLD_LOOK_H,
    Asked,
    Since,
    Stated,
    band_of,
    counts,
    edges,
    is_asked,
    read_input,
    stated,
)
from rules.moments import Moment
from rules.quantities import inputs_of, is_fact, si_unit, weather_columns
from rules.units import convert
from rules.verdict import FloatArray, Verdict, VerdictArray
from rules.weather import BoolArray, Hours, Weather, meets
from rules.windows import HourIndex, is_run, take
from rules.words import site_quantities

NEVER: Final = 2**30
AGES: Final = frozenset({"age_of_masonry", "age_of_grout", "age_of_wall", "age_of_concrete"})
GO, NOT_KNOWN, NO_GO = np.int8(Verdict.GO), np.int8(Verdict.NOT_KNOWN), np.int8(Verdict.NO_GO)
# What the start, the end and the hours that are told with the question can place.
PLACED: Final = frozenset({"start", "end", "dry_end", "inspected", "now", "table"})


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
    known = {row.hours.from_.anchor, row.hours.until.anchor} <= PLACED
    return known and not _is_worst_hour_of_work(row)


def placed(row: Row, asked: Asked) -> Row:
    """Return a row with its hours counted from the work or from the table alone."""
    if row.hours is None:
        return row
    begin, over = (_placed(moment, asked) for moment in (row.hours.from_, row.hours.until))
    if (begin, over) == (row.hours.from_, row.hours.until):
        return row
    hours = row.hours.model_copy(update={"from_": begin, "until": over})
    return row.model_copy(update={"hours": hours})


def _placed(moment: Moment, asked: Asked) -> Moment:
    match moment.anchor:
        case "dry_end":
            return Moment("end", moment.offset_h + asked.dry_h)
        case "inspected" if asked.looked is None:
            return Moment("start", moment.offset_h - UNTOLD_LOOK_H)
        case "inspected":
            return Moment("table", moment.offset_h + (asked.looked or 0))
        case "now":
            return Moment("table", moment.offset_h + asked.now)
        case _:
            return moment


def dry_hours(row: Row, asked: Asked) -> Row | None:
    """Return what a row that judges the hours of work one by one says of the dry hours after."""
    hours = row.hours
    if hours is None or hours.until.anchor != "dry_end" or not _is_worst_hour_of_work(row):
        return None
    after = hours.model_copy(update={"from_": Moment("end"), "until": Moment("end", asked.dry_h)})
    return row.model_copy(update={"hours": after})


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

    read = with_read(row, asked, weather)

    def graded(outcomes: VerdictArray) -> VerdictArray:
        return _by_hour(read, outcomes, applies, weather)

    judged = _as_means_come(row, asked, np.arange(weather.hours), graded)
    if row.felt:
        judged = np.where(judged == NOT_KNOWN, GO, judged).astype(np.int8)
    return where_it_applies(judged, True, age_conditions(row, asked, weather.hours))


def _by_hour(
    row: Row, outcomes: VerdictArray, applies: bool | None, weather: Weather
) -> VerdictArray:
    def judge() -> VerdictArray:
        hours = weather.for_row(row)
        if hours is None:
            graded = np.full(weather.hours, NOT_KNOWN, dtype=np.int8)
        else:
            graded = grade(hours.values, row, outcomes, may_be_nan=not hours.whole)
        return where_it_applies(graded, applies, hourly_conditions(row, weather))

    return weather.remembered(("hour", outcomes.tobytes(), applies), row, judge)


def with_read(row: Row, asked: Asked, weather: Weather) -> Row:
    """Return a computed row with the inputs that no source tells, as read on site or stated."""
    told: dict[str, float] = {}
    for argument, _ in inputs_of(row.quantity):
        stem, _, _ = argument.rpartition("_")
        own = site_quantities().get(stem)
        if own is None or argument in weather.columns or argument in row.given:
            continue
        amount = read_input(stem, si_unit(own.unit), asked.facts)
        told |= {} if amount is None else {argument: amount}
    return row.model_copy(update={"given": {**row.given, **told}}) if told else row


def _as_means_come(
    row: Row, asked: Asked, wanted: HourIndex, graded: Callable[[VerdictArray], VerdictArray]
) -> VerdictArray:
    """Return verdicts with the measures that are there at the hour at which they are wanted."""
    (_, first), *later = asked.phases()
    had = codes(row, first)
    out = graded(had)
    for hour, there in later:
        outcomes = codes(row, there)
        if (outcomes != had).any():
            out, had = np.where(wanted >= hour, graded(outcomes), out), outcomes
    return out


def row_by_start(row: Row, asked: Asked, weather: Weather, ends: HourIndex) -> VerdictArray:
    """Judge every start by one row over hours, (..., hours).

    A window that hangs on one event alone is judged once for that event at every hour; a start
    then looks up the hour at which its work is over.
    """
    applies = fixed_conditions(row, asked)
    if applies is False or row.hours is None or row.only_advises:
        return np.zeros(weather.hours, dtype=np.int8)
    row = with_read(placed(row, asked), asked, weather)
    begun = np.arange(ends.shape[-1], dtype=np.int64)

    def graded(outcomes: VerdictArray) -> VerdictArray:
        return _by_start(row, outcomes, applies, weather, ends)

    wanted = np.where(ends >= NEVER, begun + 1, ends) if is_kept_after(row) else begun
    judged = _as_means_come(row, asked, wanted, graded)
    return where_it_applies(judged, True, age_conditions(row, asked, weather.hours))


def is_kept_after(row: Row) -> bool:
    """Tell whether all that a row asks for is wanted only when the work is over."""
    needs = [need for part in (row, *row.bands) for need in part.measures]
    return bool(needs) and all(wanted_after(need) for need in needs)


def wanted_after(need: Need) -> bool:
    """Tell whether a measure is wanted at the end of the work, not from its start."""
    after = need.until.anchor == "end" and need.until.offset_h > 0
    return need.from_.anchor == "end" or (after and need.from_ == Moment("start"))


def _by_start(
    row: Row, outcomes: VerdictArray, applies: bool | None, weather: Weather, ends: HourIndex
) -> VerdictArray:
    if row.hours is None:
        raise ValueError(f"{row.id} looks at no hours")
    anchor, last = (m.anchor for m in (row.hours.from_, row.hours.until))
    if anchor != last or anchor == "table":
        return _judge_windows(row, outcomes, applies, weather, *window(row, ends))
    events = np.arange(weather.hours + 1, dtype=np.int64)

    def judge() -> VerdictArray:
        return _judge_windows(row, outcomes, applies, weather, *window(row, events, events))

    at_event = weather.remembered(("event", outcomes.tobytes(), applies), row, judge)
    return at_event[..., :-1] if anchor == "start" else _at_ends(at_event, ends)


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
    seen = bool(row.seen_on_site)  # what past hours left is seen before starting
    weather, back = weather.with_past() if seen else (weather, 0)
    low, high = low + back, high + back
    past = (high <= back) & seen

    def look(name: str, what: Hours, way: TakenAs) -> FloatArray:
        return weather.taken((name, tuple(row.given.items())), what, way, low, high)

    hours = counted_hours(row, weather)
    conditions = window_conditions(row, weather, look)
    if hours is None:
        missing = np.where(past, GO, NOT_KNOWN).astype(np.int8)
        return where_it_applies(missing, applies, conditions)
    inside = np.clip(low, _first_known(hours), np.maximum(high, 0)) if seen else low
    own = (row.quantity, row.unit, row.substitutes, row.counted, tuple(row.given.items()))
    graded = [
        grade(weather.taken(own, hours, way, inside, high), row, outcomes, may_be_nan=True)
        for way in (row.taken_as, *row.also_taken_as)
    ]
    short = ends_early(row, hours, high)
    verdict = reduce(np.maximum, graded)
    if short.any():
        verdict = np.where(short, np.maximum(verdict, NOT_KNOWN), verdict)
    if past.any():
        verdict = np.where(past & (verdict == NOT_KNOWN), GO, verdict)
    return where_it_applies(verdict, applies, conditions)


def _first_known(hours: Hours) -> HourIndex | int:
    """Return the first hour that is known, of each scenario where they differ: ``(..., 1)``."""
    first = np.isfinite(hours.values).argmax(axis=-1)
    alike = bool((first == first.flat[0]).all())
    return int(first.flat[0]) if alike else first[..., None]


def ends_early(row: Row, hours: Hours, high: HourIndex) -> BoolArray:
    """Tell which windows' first day after the work lies past the column's end."""
    if row.hours is None:
        raise ValueError(f"{row.id} looks at no hours")
    tail = ceil(max(row.hours.until.offset_h - row.must_reach_h, 0.0))
    return np.asarray(high - tail > hours.reach)


def row_on_site(row: Row, asked: Asked, weather: Weather) -> VerdictArray:
    """Judge by facts and readings while they count, (..., hours).

    The newest of every place is looked at, and the gravest decides. What nobody read is not
    known, unless a person sees it before starting or the row names the ordinary size. Ages that
    are not known are left to whoever knows when the work was placed.
    """
    applies = fixed_conditions(row, asked)
    unknown_age = row.quantity in AGES and not stated(row.quantity, asked.facts)
    if applies is False or row.only_advises or unknown_age:
        return np.zeros(weather.hours, dtype=np.int8)

    def graded(outcomes: VerdictArray) -> VerdictArray:
        return _on_site(row, asked, outcomes, weather.hours)

    verdict = _as_means_come(row, asked, np.arange(weather.hours), graded)
    fixed = where_it_applies(verdict, applies, age_conditions(row, asked, weather.hours))
    return where_it_applies(fixed, True, hourly_conditions(row, weather))


def _on_site(row: Row, asked: Asked, outcomes: VerdictArray, hours: int) -> VerdictArray:
    table, now = np.arange(hours, dtype=np.float64), float(asked.now)
    worst, known = np.zeros(hours, dtype=np.int8), np.zeros(hours, dtype=np.bool_)
    for one in stated(row.quantity, asked.facts, now):
        here = _outcome(row, one, outcomes, table)
        bad = bool((here > GO).any())
        counting = counts(one, row.speaks_h(bad=bad), table, bad=bad, now=now)
        lifted = asked.is_released(row.id, one, table)
        here = np.where(lifted, np.minimum(here, Verdict.GO_WITH_PROTECTION), here)
        worst = np.where(counting, np.maximum(worst, here), worst)
        known |= counting
    if known.all():
        return worst
    usual = ordinary(row)
    rest = _unread(row) if usual is None else _outcome(row, usual, outcomes, table)
    return np.where(known, worst, rest).astype(np.int8)


def _outcome(
    row: Row, one: Stated, outcomes: VerdictArray, table: FloatArray
) -> VerdictArray | np.int8:
    """Return what a row makes of what is stated; of an age, hour by hour."""
    if isinstance(one.value, Since):  # the SI unit of time is the hour
        ages = np.maximum(table - one.value.hour, 0.0)
        return grade(ages, row, outcomes, may_be_nan=False)
    band = band_of(one.value, row.bands, row.unit)
    return NOT_KNOWN if band is None else np.int8(outcomes[row.bands.index(band)])


def ordinary(row: Row) -> Stated | None:
    """Return the size that a row takes as ordinary where nobody stated one."""
    return None if row.ordinary is None else Stated((row.ordinary, row.unit))


def _unread(row: Row) -> np.int8:
    """Return what a row says where nobody knows its quantity."""
    seen = row.seen_on_site or row.unsaid is not None
    return GO if seen else NOT_KNOWN


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
    """Return the measures to be had, those they take the place of, and what needs no fetching."""
    book = measures()
    weaker = {name for m in to_be_had if m in book for name in book[m].does_also}
    working = {name for name, measure in book.items() if measure.kind == "working"}
    return frozenset(to_be_had | weaker | working)


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
    of = {"start": begun, "end": over, "table": np.zeros_like(over)}
    low, high = (of[moment.anchor] + whole(moment.offset_h) for moment, whole in edges_)
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
