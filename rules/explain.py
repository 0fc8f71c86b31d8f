"""One window, row by row: the value that decides, its hour, what it allows and what it asks."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from rules.book import Book
from rules.book_rows import Band, Need, Row, TakenAs
from rules.conditions import fixed_conditions, hourly_conditions
from rules.facts import Asked, Stated, band_index, band_of, counts, is_asked, number, stated
from rules.grading import (
    AGES,
    counted_hours,
    dry_hours,
    is_by_hour,
    is_by_start,
    is_on_site,
    missing_measures,
    ordinary,
    placed,
    row_by_hour,
    row_by_start,
    row_on_site,
    window,
    with_read,
)
from rules.moments import Moment
from rules.quantities import si_unit
from rules.units import convert
from rules.verdict import FloatArray, Verdict, VerdictArray
from rules.weather import Hours, Weather


@dataclass(frozen=True, slots=True)
class Asking:
    """A measure asked for, in hours of the table; several names mean any one of them."""

    measure: tuple[str, ...]
    from_h: float | None  # None: the moment is not one of the table's, see ``need``
    until_h: float | None
    need: Need
    to_be_had: bool


@dataclass(frozen=True, slots=True)
class Reason:
    """What one row says about one window."""

    row: Row
    verdict: Verdict  # with the measures to be had
    outcome: Verdict  # of the band alone
    value: float | bool | str | None  # in the row's unit
    taken_as: TakenAs
    band: Band | None
    at: int | None = None  # hour of the table at which the value stands
    low: int | None = None  # hours looked at
    high: int | None = None
    measures: tuple[Asking, ...] = ()
    stood_in: str = ""  # what was used in place of a column that is absent
    look_again: bool = False  # part of the window lies beyond the column's end
    ask_on_site: bool = False  # nobody read it yet, or no source gives it
    applies: bool = True


def explain(
    book: Book, asked: Asked, weather: Weather, start: int, end: int
) -> tuple[Reason, ...]:
    """Say what every row makes of work from hour ``start`` up to hour ``end``.

    Parameters
    ----------
    weather : Weather
        Columns of one trace, ``(hours,)``.
    start, end : int
        Hours of the table; ``end`` is the hour at whose beginning the work is over.

    Returns
    -------
    tuple of Reason
        The gravest first, what nobody has read yet last. Rows whose conditions do not hold are
        left out.
    """
    found = [reason_of(row, asked, weather, start, end) for row in book.rows_for(asked.work_type)]
    kept = [reason for reason in found if reason is not None and reason.applies]
    return tuple(sorted(kept, key=lambda reason: (reason.ask_on_site, -reason.verdict)))


@dataclass(frozen=True, slots=True)
class Walk:
    """One row of one window with its values hour by hour, as a person would check it."""

    reason: Reason
    first: int  # hour of the table of the first value
    values: FloatArray  # (hours,) in the row's unit; empty where the row reads no weather
    outcomes: VerdictArray  # (hours,) of placing limits; empty where the hours count together


def walk(book: Book, asked: Asked, weather: Weather, start: int, end: int) -> tuple[Walk, ...]:
    """Say what every row makes of a window, with the values by hour that it looked at.

    The gravest first, as ``explain``; hours outside the table are left out.
    """
    return tuple(
        _walked(reason, asked, weather) for reason in explain(book, asked, weather, start, end)
    )


def _walked(reason: Reason, asked: Asked, weather: Weather) -> Walk:
    row, none = reason.row, np.empty(0, dtype=np.int8)
    weather_row = is_by_hour(row) or is_by_start(row)
    hours = weather.for_row(row) if weather_row else None
    if hours is None or reason.low is None or reason.high is None:
        return Walk(reason, 0, np.empty(0), none)
    first, stop = max(reason.low, 0), min(reason.high, weather.hours)
    values = in_unit(hours.values[first:stop], row)
    if not is_by_hour(row):
        return Walk(reason, first, values, none)
    return Walk(reason, first, values, row_by_hour(row, asked, weather)[first:stop])


def reason_of(row: Row, asked: Asked, weather: Weather, start: int, end: int) -> Reason | None:
    """Say what one row makes of a window; None where it binds nothing there."""
    if fixed_conditions(row, asked) is False:
        return None
    if is_on_site(row):
        return _on_site(row, asked, weather, start, end)
    # The row is told as the book has it, not with what was read or the hours it was placed at.
    if is_by_hour(row):
        read = with_read(row, asked, weather)
        during, after = _by_hour(read, asked, weather, start, end), dry_hours(read, asked)
        then = during if after is None else _by_start(after, asked, weather, start, end)
        return replace(then if then.verdict > during.verdict else during, row=row)
    if is_by_start(row):
        read = with_read(placed(row, asked), asked, weather)
        return replace(_by_start(read, asked, weather, start, end), row=row)
    if row.quantity:
        return None  # placed by the clock or the sun: judged where those are known
    band = row.bands[0] if row.bands else None
    outcome = Verdict.GO if band is None else band.outcome
    asks = _askings(row, band, asked, start, end)
    return Reason(row, outcome, outcome, None, row.taken_as, band, measures=asks)


def _on_site(row: Row, asked: Asked, weather: Weather, start: int, end: int) -> Reason:
    stop = min(max(end, start + 1), weather.hours)
    applies = _met_somewhere(row, weather, start, stop)
    one = _gravest(row, asked, start)
    if one is None:
        # Ages are judged by who knows when it was built.
        elsewhere = row.unsaid is not None or row.quantity in AGES
        seen = bool(row.seen_on_site) or row.only_advises or elsewhere
        unread = Verdict.NOT_KNOWN
        return Reason(
            row, unread, unread, None, row.taken_as, None, ask_on_site=seen, applies=applies
        )
    band = band_of(one.value, row.bands, row.unit, float(start))
    worst = int(row_on_site(row, asked, weather)[..., start:stop].max(initial=0))
    outcome = Verdict.NOT_KNOWN if band is None else band.outcome
    shown = number(one.value, row.unit, float(start)) if row.unit else None
    return Reason(
        row=row,
        verdict=Verdict(worst),
        outcome=outcome if worst > Verdict.GO else Verdict.GO,
        value=shown if shown is not None else _word(one.value),
        taken_as=row.taken_as,
        band=band,
        at=asked.now if one.at is None else int(one.at // 1),
        measures=_askings(row, band, asked, start, end),
        applies=applies,
    )


def _gravest(row: Row, asked: Asked, hour: int) -> Stated | None:
    """Return what decides at an hour, else the ordinary size; None where nothing counts."""
    told = stated(row.quantity, asked.facts, float(asked.now))

    def grave(one: Stated) -> int:
        band = band_of(one.value, row.bands, row.unit, float(hour))
        return int(Verdict.NOT_KNOWN if band is None else band.outcome)

    def left(one: Stated) -> bool:
        bad = grave(one) > 0
        age_h = row.speaks_h(bad=bad)
        return bool(counts(one, age_h, float(hour), bad=bad, now=float(asked.now)))

    return max(filter(left, told), key=grave, default=ordinary(row))


def _word(value: object) -> bool | str:
    if isinstance(value, tuple):
        return ", ".join(str(part) for part in value)
    return value if isinstance(value, bool) else str(value)


def _by_hour(row: Row, asked: Asked, weather: Weather, start: int, end: int) -> Reason:
    verdicts = row_by_hour(row, asked, weather)
    hours = weather.for_row(row)
    stop = min(max(end, start + 1), weather.hours)
    here = np.asarray(verdicts[..., start:stop])
    past = end > weather.hours and not row.felt
    if hours is None or here.size == 0:
        return _unknown(row, start, end, binds=bool((here > 0).any()))
    worst = int(here.max())
    if past:
        worst = max(worst, int(Verdict.NOT_KNOWN))
    values = in_unit(hours.values[start:stop], row)
    gravest = np.where(here == here.max(), values, np.nan)
    if np.isnan(gravest).all():
        return _unknown(row, start, end)
    place = int(np.nanargmin(gravest) if row.low_is_worse else np.nanargmax(gravest))
    value = float(values[place])
    band = row.bands[band_index(value, row.bands)]
    applies = worst > Verdict.GO or _met_somewhere(row, weather, start, stop)
    return Reason(
        row=row,
        verdict=Verdict(worst),
        outcome=band.outcome if worst > Verdict.GO else Verdict.GO,
        value=value,
        taken_as=row.taken_as,
        band=band,
        at=start + place,
        low=start,
        high=end,
        measures=_askings(row, band, asked, start, end),
        stood_in=_stood_in(hours, start + place),
        applies=applies,
    )


def _met_somewhere(row: Row, weather: Weather, start: int, stop: int) -> bool:
    return all(
        bool(np.broadcast_to(met, (weather.hours,))[start:stop].any())
        for met, _ in hourly_conditions(row, weather)
    )


def _by_start(row: Row, asked: Asked, weather: Weather, start: int, end: int) -> Reason:
    ends = np.arange(weather.hours, dtype=np.int64) + (end - start)
    verdict = Verdict(int(row_by_start(row, asked, weather, ends)[..., start]))
    hours = counted_hours(row, weather)
    if hours is None:
        return _unknown(row, start, end)
    low, high = (int(edge[start]) for edge in window(row, ends))
    way, value = _deciding(row, weather, hours, low, high)
    if value is None:
        made = _unknown(row, low, high, binds=verdict > Verdict.GO or bool(row.seen_on_site))
        # hours that are known speak against it: no look before starting makes up for those
        return made if verdict == Verdict.GO else replace(made, verdict=verdict, ask_on_site=False)
    band = row.bands[band_index(value, row.bands)]
    return Reason(
        row=row,
        verdict=verdict,
        outcome=band.outcome if verdict > Verdict.GO else Verdict.GO,
        value=value,
        taken_as=way,
        band=band,
        at=_hour_of(row, hours, way, value, low, high),
        low=low,
        high=high,
        measures=_askings(row, band, asked, start, end),
        stood_in=_stood_in(hours, max(low, 0)),
        look_again=bool((high > hours.reach).any()),
        applies=verdict > Verdict.GO or band.outcome == Verdict.GO,
    )


def _deciding(
    row: Row, weather: Weather, hours: Hours, low: int, high: int
) -> tuple[TakenAs, float | None]:
    """Return the definition of the aggregate that decides, and its value in the row's unit."""
    edges = np.array([low]), np.array([high])
    found: list[tuple[TakenAs, float]] = []
    for way in (row.taken_as, *row.also_taken_as):
        value = float(in_unit(weather.taken((row.id, low, high), hours, way, *edges), row)[0])
        if not np.isnan(value):
            found.append((way, value))
    if not found:
        return row.taken_as, None
    gravest = max(row.bands[band_index(value, row.bands)].outcome for _, value in found)
    return next(
        pair for pair in found if row.bands[band_index(pair[1], row.bands)].outcome == gravest
    )


def _hour_of(
    row: Row, hours: Hours, way: TakenAs, value: float, low: int, high: int
) -> int | None:
    if way not in ("min", "max"):
        return None
    inside = in_unit(hours.values[max(low, 0) : high], row)
    return max(low, 0) + int(np.nanargmin(np.abs(inside - value)))


def _unknown(row: Row, low: int, high: int, *, binds: bool = True) -> Reason:
    check = binds and bool(row.seen_on_site) and not row.only_advises
    calm = check or not binds or row.only_advises
    verdict = Verdict.GO if calm else Verdict.NOT_KNOWN
    way = row.taken_as
    applies = check or binds
    return Reason(
        row, verdict, verdict, None, way, None,
        low=low, high=high, ask_on_site=check, applies=applies,
    )  # fmt: skip


def in_unit(values: FloatArray, row: Row) -> FloatArray:
    """Return SI values in the row's unit."""
    return np.asarray(convert(values, si_unit(row.unit), row.unit), dtype=np.float64)


def _stood_in(hours: Hours, at: int) -> str:
    if hours.stands_in is None or not hours.stands_in[..., at].any():
        return ""
    return "; ".join(substitute.says for substitute in hours.substitutes)


def _askings(
    row: Row, band: Band | None, asked: Asked, start: int, end: int
) -> tuple[Asking, ...]:
    missing = [] if band is None else missing_measures(row, band, asked)
    needs = (*row.measures, *(band.measures if band is not None else ()))
    return tuple(
        Asking(
            need.measure,
            _hour(need.from_, start, end),
            _hour(need.until, start, end),
            need,
            to_be_had=need.measure not in missing,
        )
        for need in needs
        if is_asked(need, asked.facts)
    )


def _hour(moment: Moment, start: int, end: int) -> float | None:
    places = {"start": float(start), "end": float(end)}
    base = places.get(moment.anchor)
    return None if base is None else base + moment.offset_h
