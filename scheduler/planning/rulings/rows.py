"""Rows of the rule book put to a trial of a task: each row that binds gives one ruling."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.book_rows import Band, Row, Substitute
from rules.facts import Stated, counts, number, same_word, stated
from rules.quantities import inputs_of, is_fact
from rules.verdict import FloatArray, Verdict
from scheduler.planning.evidence.ages import AGES, since
from scheduler.planning.evidence.known import EPOCH
from scheduler.planning.evidence.observed_then_forecast import hour_of, moment_of
from scheduler.planning.evidence.shifts import worked
from scheduler.planning.evidence.times import hours_left, on_clock
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import NumberLine, Outcome, Span
from scheduler.planning.rulings.asks import OUTCOMES, asked, band_of, limit_line
from scheduler.planning.rulings.conditions import HOUR, Mask, by_hour, hour_at
from scheduler.planning.rulings.quantities import (
    COLUMNS,
    Reckoned,
    aggregate,
    hourly,
    is_hourly,
    on_site,
    over_hours,
    reach,
    weather,
)
from scheduler.planning.rulings.ruling import Ruling, graded
from scheduler.planning.rulings.unknown import is_undated, not_known, seen, unforeseen, unread

MOST_MEASURES: Final = 100  # of one band; ranks hours by outcome, then by what they ask for


def rulings(trial: Trial, rows: Iterable[Row]) -> list[Ruling]:
    """Return the ruling of every row that binds, in the book's order."""
    made = (ruling(trial, row) for row in rows)
    return [r for r in made if r is not None]


def ruling(trial: Trial, row: Row) -> Ruling | None:
    """Return a row's word on a trial; None where it does not bind."""
    if not row.quantity:
        return _standing(trial, row)
    if is_hourly(row.quantity) and not row.on_site:
        return _weather(trial, row)
    binds = _somewhere(_worked(trial, row, hours_left(trial)))
    if binds is False:
        return None
    by_word = is_fact(row.quantity) and row.bands and row.bands[0].is_ is not None
    made = _fact(trial, row) if by_word else _value(trial, row)
    if any(is_hourly(c.what) for c in (*row.when, *row.unless)):
        made = replace(made, moves=True)  # in other hours it may not bind
    return made if binds else _unsure(made)


def _worked(trial: Trial, row: Row, span: Span) -> Mask | bool | None:
    """Return a row's conditions in the hours of a span that are worked."""
    binds = _conditions(trial, row, span)
    shifts = worked(trial.known, trial.task, span) if isinstance(binds, np.ndarray) else None
    return binds if shifts is None else np.asarray(binds)[shifts]


def _somewhere(binds: Mask | bool | None) -> bool | None:
    """Tell whether a row binds in any hour; None where one may and none surely does."""
    if not isinstance(binds, np.ndarray):
        return binds
    if (binds > 0.0).any():
        return True
    return None if np.isnan(binds).any() else False


def _unsure(made: Ruling) -> Ruling:
    """Return the word of a row of which nobody knows whether it binds: not known at most."""
    if made.outcome is not Outcome.NO_GO:
        return made
    limit = None if made.limit is None else replace(made.limit, outcome=Outcome.NOT_KNOWN)
    return replace(made, outcome=Outcome.NOT_KNOWN, limit=limit, call="")


def _conditions(trial: Trial, row: Row, span: Span) -> Mask | bool | None:
    when = by_hour(row.when, trial, span, met=True)
    if when is False:
        return False
    unless = by_hour(row.unless, trial, span, met=False)
    if unless is True:
        return False
    if unless is False:
        return when
    if when is None or unless is None:
        return None
    lifted = 1.0 - np.asarray(unless, dtype=np.float64)
    return lifted if when is True else np.minimum(np.asarray(when), lifted)


# rows without a quantity always hold


def _standing(trial: Trial, row: Row) -> Ruling | None:
    binds = _somewhere(_conditions(trial, row, trial.span))
    if binds is False:
        return None
    band = row.bands[0] if row.bands else None
    outcome = Outcome.GO if band is None else OUTCOMES[band.outcome]
    limit = None
    if band is not None and band.outcome >= Verdict.NOT_KNOWN:
        limit = limit_line(row, band, Reckoned(None, row.unit), "value")
    made = asked(trial, row, band, outcome, limit)
    return made if binds else _unsure(made)


# facts, readings, sizes and ages


def _fact(trial: Trial, row: Row) -> Ruling:
    """Judge by the words that are said of each place; the gravest decides."""
    told = _words(trial, row)
    if not told:
        return unread(trial, row)
    one = max(told, key=lambda said: _word_outcome(row, said))
    band = _word_band(row, one)
    if band is None:
        return not_known(trial, row)
    shown = one.value if isinstance(one.value, bool) else None
    at = None if one.at is None else EPOCH + one.at * HOUR
    found = Reckoned(shown, "yes_no", "fact", at=at, place=one.place)
    limit = limit_line(row, band, found, "value")
    return asked(trial, row, band, OUTCOMES[band.outcome], limit)


def _words(trial: Trial, row: Row) -> list[Stated]:
    """Return what is said of a row's fact while it counts; else what nobody's word counts as.

    A call says what is done now: a bad state that nobody has said is over holds for later starts
    too. A plan looks further and takes it for as long as its row says.
    """
    told = stated(row.quantity, trial.known.facts_of(trial.task))

    def bad(one: Stated) -> bool:
        return _word_outcome(row, one) > Verdict.GO

    hour = hour_at(trial)
    kept = [
        one
        for one in told
        if (one.stays and bad(one)) or counts(one, row.speaks_h(bad=bad(one)), hour)
    ]
    unsaid = [] if row.unsaid is None else [Stated(row.unsaid)]
    return kept or unsaid


def _word_band(row: Row, one: Stated) -> Band | None:
    return next((b for b in row.bands if b.is_ is None or same_word(one.value, b.is_)), None)


def _word_outcome(row: Row, one: Stated) -> Verdict:
    band = _word_band(row, one)
    return Verdict.NOT_KNOWN if band is None else band.outcome


def _value(trial: Trial, row: Row) -> Ruling:
    found = _read(trial, row)
    undated = row.quantity in AGES and is_undated(trial, row)
    if not found or undated:
        return unread(trial, row)
    sign = -1.0 if row.low_is_worse else 1.0
    judged = [(band_of(row, float(one.value or 0.0)), one) for one in found]
    band, worst = max(judged, key=lambda p: (p[0].outcome, sign * float(p[1].value or 0.0)))
    limit = replace(limit_line(row, band, worst, "value"), quantity=_told_as(trial, row))
    made = asked(trial, row, band, OUTCOMES[band.outcome], limit)
    if len(found) == 1 or row.quantity in AGES or worst.value is None:
        return made
    way = "min" if row.low_is_worse else "max"
    of_all = NumberLine(limit.quantity, way, worst.value, row.unit, place=worst.place)
    return replace(made, numbers=(*made.numbers, of_all))


def _told_as(trial: Trial, row: Row) -> str:
    """Return under which name a value is told: the wall's age by what was done to it last."""
    if row.quantity != "age_of_wall":
        return row.name
    begun = since(trial.known, row.quantity, trial.task)
    grouted = since(trial.known, "age_of_grout", trial.task)
    return "age_of_grout" if grouted == begun else "age_of_masonry"


def _read(trial: Trial, row: Row) -> list[Reckoned]:
    """Return what is known of a row's quantity at each place, as of the start of work."""
    at = max(trial.start, trial.known.now)
    if row.quantity in AGES:
        told = stated(row.quantity, trial.known.facts_of(trial.task))
        ages = [number(one.value, row.unit, hour_at(trial)) for one in told]
        return [Reckoned(age, row.unit, "age", at=at) for age in ages if age is not None]
    known, task = trial.known, trial.task
    fresh = on_site(known, row.quantity, row.unit, task, age_h=row.reading_age_h, at=at)
    every = on_site(known, row.quantity, row.unit, task)
    again = on_site(known, row.quantity, row.unit, task, age_h=row.speaks_h(bad=True), at=at)
    # What stops people now does so whichever start is tried, while it is fresh.
    now = on_site(known, row.quantity, row.unit, task, age_h=row.reading_age_h, at=known.now)
    stops = {o.at for o in now if band_of(row, float(o.value or 0.0)).call == "stop"}
    left = {o.at for o in again}
    bad = [
        o
        for o in every
        if o.at in stops
        or ((o.stays or o.at in left) and band_of(row, float(o.value or 0.0)).outcome > 0)
    ]
    return fresh + [one for one in bad if one.at not in {o.at for o in fresh}]


def _weather(trial: Trial, row: Row) -> Ruling | None:
    if row.taken_as == "value":
        return _doubted(trial, row, _each_hour(trial, row), hours_left(trial))
    return _over(trial, row)


def _doubted(trial: Trial, row: Row, made: Ruling | None, span: Span) -> Ruling | None:
    """Return a ruling that rests on an old forecast, or one of another place, as not known."""
    old = trial.known.view.stale and span.end > trial.known.now
    by_people = row.only_advises or row.seen_on_site or row.felt
    if made is None or not old or made.refuses or by_people:
        return made
    return replace(not_known(trial, row, span), moves=True)


def _each_hour(trial: Trial, row: Row) -> Ruling | None:
    """Judge every hour of the work on its own; the gravest hour is told."""
    span = hours_left(trial)
    binds = _conditions(trial, row, span)
    if binds is False:
        return None
    values = _hours_of(trial, row, span)
    if isinstance(binds, np.ndarray) and not (np.isnan(binds) | (binds > 0)).any():
        return asked(trial, row, _mildest(row), Outcome.GO, None)
    if values is None:
        return unforeseen(trial, row, span)
    mask = binds if isinstance(binds, np.ndarray) else np.full(values.size, 1.0)
    if binds is None:
        mask = np.full(values.size, np.nan)
    if row.felt:  # what is not known of these hours is felt when they come
        mask = np.where(np.isfinite(mask) & np.isfinite(values), mask, 0.0)
    shifts = worked(trial.known, trial.task, span)
    if shifts is not None:
        mask = np.where(shifts, mask, 0.0)
    if (mask == 0.0).all():
        return asked(trial, row, _mildest(row), Outcome.GO, None)
    return _gravest_hour(trial, row, values, mask, span)


def _hours_of(trial: Trial, row: Row, span: Span) -> FloatArray | None:
    """Return the row's quantity by hour; a substitute where it is absent or has ended, flagged."""
    values = hourly(trial, row.quantity, row.unit, span, given=row.given)
    end = _end_of(trial, row.quantity)
    for other in row.substitutes:
        if values is not None and not np.isnan(values).any():
            break
        instead = _stood_in(trial, row, other, span)
        if instead is None:
            continue
        beyond = np.arange(instead.size) + hour_of(span.start) >= end
        values = instead if values is None else np.where(beyond, instead, values)
        end = max(end, _end_of(trial, other.quantity))
    return values


def _end_of(trial: Trial, quantity: str) -> int:
    """Return the hour at which a quantity's column ends, or an input of it."""
    names = [quantity] if quantity in COLUMNS else []
    names += [name.rpartition("_")[0] for name, _ in inputs_of(quantity)]
    ends = [end for n in names if n in COLUMNS and (end := reach(trial.known, n)) is not None]
    return min((hour_of(end) for end in ends), default=0)


def _is_short(trial: Trial, row: Row, span: Span) -> bool:
    end = reach(trial.known, row.quantity)
    return end is None or end < span.end


def _stood_in(trial: Trial, row: Row, other: Substitute, span: Span) -> FloatArray | None:
    unit = other.unit or row.unit
    instead = hourly(trial, other.quantity, unit, span, given=row.given)
    if instead is None or instead.size == 0:
        return None
    if other.while_below is None:
        return np.asarray(instead * other.factor, dtype=np.float64)
    more = np.nan if other.otherwise is None else other.otherwise
    wet = np.where(np.isnan(instead), np.nan, more)
    return np.where(instead < other.while_below, other.gives, wet)


def _gravest_hour(
    trial: Trial, row: Row, values: FloatArray, mask: Mask, span: Span
) -> Ruling | None:
    ranks = np.array([_rank(row, v, here) for v, here in zip(values, mask, strict=True)])
    worst = ranks.max()
    places = np.flatnonzero(ranks == worst)
    pick = _furthest(row, values, places)
    band = None if np.isnan(values[pick]) else band_of(row, float(values[pick]))
    verdict = Verdict(int(worst // MOST_MEASURES))
    if row.only_advises:
        verdict = Verdict.GO
    stale = trial.known.view.stale and verdict is not Verdict.NO_GO and not row.only_advises
    outcome = Outcome.NOT_KNOWN if stale else OUTCOMES[verdict]
    first = int(np.flatnonzero(ranks >= verdict * MOST_MEASURES)[0])
    begun = hour_of(span.start)
    found = Reckoned(
        None if band is None else float(values[pick]),
        row.unit,
        "forecast",
        "stale" if stale else "",
        at=moment_of(begun + pick),
    )
    limit = graded(limit_line(row, band, found, "value"), outcome)
    event = max(moment_of(begun + first), span.start)
    return replace(asked(trial, row, band, outcome, limit, event=event), moves=True)


def _rank(row: Row, value: float, here: float) -> float:
    """Return how grave an hour is: its outcome first, then how much its band asks for.

    Where nobody knows whether the row binds, it asks for its measures, never more.
    """
    if here == 0.0:
        return -1.0
    if np.isnan(value):
        return float(Verdict.NOT_KNOWN * MOST_MEASURES)
    band = band_of(row, float(value))
    verdict = min(band.outcome, Verdict.NOT_KNOWN) if np.isnan(here) else band.outcome
    return float(verdict * MOST_MEASURES + min(len(band.measures), MOST_MEASURES - 1))


def _furthest(row: Row, values: FloatArray, places: NDArray[np.intp]) -> int:
    """Return the hour among the gravest whose value lies furthest on the worse side."""
    known = [int(p) for p in places if np.isfinite(values[int(p)])]
    if not known:
        return int(places[0])
    sign = 1.0 if _worse_below(row, float(values[known[0]])) else -1.0
    return min(known, key=lambda p: sign * values[p])


def _worse_below(row: Row, value: float) -> bool:
    """Tell whether lower values than one of a band's are the worse ones."""
    if row.worst is not None or row.low_is_worse:
        return row.low_is_worse
    at = row.bands.index(band_of(row, value))
    weights = [b.outcome * MOST_MEASURES + len(b.measures) for b in row.bands]
    below = weights[at - 1] if at > 0 else weights[at]
    above = weights[at + 1] if at + 1 < len(weights) else weights[at]
    return below > above or (at == 0 and above < weights[at])


def _mildest(row: Row) -> Band | None:
    return next((band for band in row.bands if band.outcome is Verdict.GO), None)


def _over(trial: Trial, row: Row) -> Ruling | None:
    """Judge an aggregate over the hours that the row names."""
    span = span_over(trial, row)
    if span is None or span.end <= span.start:
        return None
    binds = _somewhere(_conditions(trial, row, span))
    if binds is False:
        return None
    made = [
        r
        for taken_as in (row.taken_as, *row.also_taken_as)
        if (r := _aggregate(trial, row, span, taken_as)) is not None
    ]
    gravest = max(made, key=lambda r: Verdict[r.outcome.name]) if made else None
    told = _doubted(trial, row, gravest, span)
    return told if told is None or binds else _unsure(told)


def span_over(trial: Trial, row: Row) -> Span | None:
    """Return the hours a row looks at; None where one of its events does not come."""
    if row.hours is None:
        return trial.span
    start, end = on_clock(row.hours.from_, trial), on_clock(row.hours.until, trial)
    return None if start is None or end is None else Span(start, end)


def _aggregate(trial: Trial, row: Row, span: Span, taken_as: str) -> Ruling | None:
    found = reckon(trial, row, span, taken_as)
    shown = "mean" if taken_as == "midpoint" else taken_as
    if found.missing == "absent" or (found.value is None and row.only_advises):
        return unforeseen(trial, row, span)
    gone_by = found.missing == "before" or span.end <= trial.known.now
    if found.value is None and gone_by and row.seen_on_site:
        return seen(trial, row)
    if found.value is None:
        limit = replace(limit_line(row, None, found, shown), outcome=Outcome.NOT_KNOWN)
        return replace(asked(trial, row, None, Outcome.NOT_KNOWN, limit), moves=True)
    band = band_of(row, float(found.value))
    outcome = OUTCOMES[band.outcome]
    unsure = found.missing == "stale" or _ends_early(trial, row, span)
    if unsure and outcome is not Outcome.NO_GO and not row.only_advises:
        outcome = Outcome.NOT_KNOWN
    if outcome is Outcome.GO and row.seen_on_site and _unrecorded(trial, row, span):
        return seen(trial, row)
    limit = graded(limit_line(row, band, found, shown), outcome)
    return replace(asked(trial, row, band, outcome, limit, event=found.at), moves=True)


def _ends_early(trial: Trial, row: Row, span: Span) -> bool:
    """Tell whether the first day after the work, or hours before it ends, are not forecast."""
    if row.hours is None or row.hours.until.anchor == "forecast_end":
        return False
    tail = timedelta(hours=max(row.hours.until.offset_h - row.must_reach_h, 0.0))
    ends = [
        end
        for name in (row.quantity, *(other.quantity for other in row.substitutes))
        if name in COLUMNS and (end := reach(trial.known, name)) is not None
    ]
    return bool(ends) and max(ends) < span.end - tail


def _unrecorded(trial: Trial, row: Row, span: Span) -> bool:
    """Tell whether hours that have passed were neither observed nor forecast."""
    if row.quantity not in COLUMNS:
        return False
    until = min(span.end, trial.known.now)
    values = weather(trial.known, row.quantity, row.unit, span.start, until)
    return bool(values.size) and bool(np.isnan(values).any())


def reckon(trial: Trial, row: Row, span: Span, taken_as: str) -> Reckoned:
    """Return a row's quantity over a span, taken as asked."""
    if taken_as == "midpoint":
        low = reckon(trial, row, span, "min")
        high = reckon(trial, row, span, "max")
        if low.value is None or high.value is None:
            return low if low.value is None else high
        return replace(low, value=(float(low.value) + float(high.value)) / 2.0, at=None)
    if taken_as in {"duration", "count"}:
        return _counted(trial, row, span)
    whole = taken_as == "mean"
    stands_in = row.substitutes and _is_short(trial, row, span)
    if row.quantity in COLUMNS and not stands_in:
        return over_hours(trial.known, row.quantity, row.unit, taken_as, span, whole=whole)
    values = _hours_of(trial, row, span)
    if values is None:
        return Reckoned(None, row.unit, missing="absent", window=span)
    known = values[np.isfinite(values)]
    ends = [
        _end_of(trial, name) for name in (row.quantity, *(s.quantity for s in row.substitutes))
    ]
    inside = np.arange(values.size) + hour_of(span.start) < max(ends)
    holes = bool((np.isnan(values) & inside).any())
    if not known.size or holes or (whole and known.size < values.size):
        return Reckoned(None, row.unit, missing="gap", window=span)
    value, _ = aggregate(known, taken_as)
    return Reckoned(value, row.unit, "forecast", window=span)


def _counted(trial: Trial, row: Row, span: Span) -> Reckoned:
    """Return how many hours of a span meet the row's condition."""
    if row.counted is None:
        return Reckoned(None, row.unit, missing="absent", window=span)
    mask = by_hour((row.counted,), trial, span, met=True)
    if not isinstance(mask, np.ndarray):
        return Reckoned(None, row.unit, missing="absent", window=span)
    known = mask[np.isfinite(mask)]
    return Reckoned(float(known.sum()), "h", "forecast", window=span)
