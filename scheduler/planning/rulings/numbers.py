"""Numbers that bear on a call, beside the value of each limit: named in a row's ``also``.

Each function gives the numbers of one name; none where nothing is known of it. Nothing here
decides.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Final

import numpy as np

from rules.air import dew_point_margin
from rules.book import Row
from rules.units import convert
from scheduler.planning.evidence.ages import since
from scheduler.planning.evidence.known import Known, reading_time
from scheduler.planning.evidence.observed_then_forecast import hour_of, moment_of
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import NumberLine, Outcome, Span
from scheduler.planning.rulings.asks import refusing_edge
from scheduler.planning.rulings.conditions import said_number
from scheduler.planning.rulings.quantities import (
    COLUMNS,
    begins,
    hourly,
    on_site,
    over_hours,
    reach,
    weather,
)
from scheduler.planning.rulings.ruling import (
    GRAVITY,
    Chosen,
    Ruling,
    after,
    hours_between,
    number_of,
)

WET_DAYS: Final = 3
LONGEST_SPELL_D: Final = 7
DEW_FROM: Final = {
    "air_temperature": "degC",
    "dew_point_temperature": "degC",
    "relative_humidity": "%",
}
ELEMENT_AGES: Final = {
    "grout_temperature": ("age_of_grout",),
    "concrete_temperature": ("age_of_concrete",),
    "masonry_temperature": ("age_of_grout", "age_of_masonry"),
}
FREEZING_F: Final = 32.0  # the freezing point of water, in the unit people read it
Numbers = Iterator[NumberLine]


@dataclass(frozen=True, slots=True)
class Told:
    """A ruling, with the row and the trial it came from."""

    trial: Trial
    row: Row
    ruling: Ruling


def also(trial: Trial, row: Row, ruling: Ruling) -> list[NumberLine]:
    """Return the numbers that a row tells beside its own value."""
    made: list[NumberLine] = []
    for name in row.also:
        numbers = NAMED.get(name)
        if numbers is not None:
            made += numbers(Told(trial, row, ruling))
    return made


def _midpoint(told: Told) -> Numbers:
    trial = told.trial
    span = Span(trial.start, after(trial.start, 24.0))
    low = over_hours(trial.known, "air_temperature", "degF", "min", span, whole=True)
    high = over_hours(trial.known, "air_temperature", "degF", "max", span, whole=True)
    if low.value is not None and high.value is not None:
        middle = (float(low.value) + float(high.value)) / 2.0
        yield NumberLine("air_temperature_midpoint", "value", middle, "degF", window=span)


def _above_freezing(told: Told) -> Numbers:
    """Give the hour from which air is above freezing and stays so."""
    trial = told.trial
    known = trial.known
    end = reach(known, "air_temperature")
    if end is None or end <= known.now:
        return
    air = weather(known, "air_temperature", "degF", known.now, end)
    cold = np.flatnonzero(~(air > FREEZING_F))
    first = int(cold[-1]) + 1 if cold.size else 0
    if first < air.size:
        at = moment_of(hour_of(known.now) + first)
        yield NumberLine("air_above_freezing", "first_time", at, "time")


def _freezing_time(told: Told) -> Numbers:
    trial = told.trial
    known = trial.known
    end = reach(known, "air_temperature")
    if end is None or end <= known.now:
        return
    air = weather(known, "air_temperature", "degF", known.now, end)
    yield NumberLine("freezing_time", "duration", float((air < FREEZING_F).sum()), "h")


def _frost_nights(told: Told) -> Numbers:
    """Count the recorded nights whose low was below freezing."""
    trial = told.trial
    series = trial.known.view.hours.get("air_temperature_c")
    if series is None:
        return
    lows: dict[object, float] = {}
    recorded = series.seen_until > series.first
    until = series.seen_until if recorded else hour_of(trial.known.now)
    for place, value in enumerate(series.values):
        hour = series.first + place
        if hour >= until or np.isnan(value):
            continue
        night = trial.known.local_day(moment_of(hour) - timedelta(hours=12))
        lows[night] = min(lows.get(night, np.inf), float(value))
    if lows:
        count = sum(low < 0.0 for low in lows.values())
        yield NumberLine("frost_nights", "count", count, "count")


def _gust_over_limit(told: Told) -> Numbers:
    """Give the first and last coming hour with a gust above the row's limit."""
    trial, row = told.trial, told.row
    end = reach(trial.known, "wind_speed_of_gust")
    if end is None or end <= trial.known.now:
        return
    gust = weather(trial.known, "wind_speed_of_gust", row.unit, trial.known.now, end)
    over = np.flatnonzero(gust >= refusing_edge(row))
    for taken_as, place in (("first_time", 0), ("last_time", -1)):
        if over.size:
            at = moment_of(hour_of(trial.known.now) + int(over[place]))
            yield NumberLine("gust_over_limit", taken_as, at, "time")


def _zone(told: Told) -> Numbers:
    """Give the zone to keep clear beside a wall: height and length, each with what is added."""
    trial = told.trial
    for name, what, extra in (
        ("zone_depth", "wall.height", told.row.given.get("zone_beyond_height_ft")),
        ("zone_length", "wall.length", told.row.given.get("zone_beyond_length_ft")),
    ):
        size = said_number(what, "ft", trial)
        if size is not None and extra is not None:
            yield NumberLine(name, "value", size + extra, "ft")


def _dew_margin(told: Told) -> Numbers:
    trial = told.trial
    dew = trial.known.view.hours.get(COLUMNS["dew_point_temperature"][0])
    for read in on_site(trial.known, "surface_temperature", "degC", trial.task):
        if read.at is None or dew is None or read.value is None:
            continue
        there = float(dew.hours(hour_of(read.at), hour_of(read.at) + 1)[0])
        margin = float(read.value) - there
        if np.isfinite(margin):
            value = float(convert(margin, "delta_degC", "delta_degF"))
            yield NumberLine(
                "dew_point_margin", "value", value, "delta_degF", at=read.at, place=read.place
            )


def _period_chance(told: Told) -> Numbers:
    for window, value in _periods(told.trial.known, told.trial.span):
        yield NumberLine("precipitation_probability_of_period", "value", value, "%", window=window)


def _periods(known: Known, span: Span) -> Iterator[tuple[Span, float]]:
    for period in () if known.newest is None else known.newest.periods:
        if period.start < span.end and span.start < period.end:
            yield Span(period.start, period.end), period.precipitation_probability_pct


def period_chance(known: Known, span: Span) -> float | None:
    """Return the chance of rain told for a period that holds a whole span; None without any."""
    found = [v for p, v in _periods(known, span) if p.start <= span.start and span.end <= p.end]
    return max(found, default=None)


def any_chance(known: Known, span: Span) -> dict[str, float]:
    """Bound the chance of a wet hour in a span, %: hourly chances do not simply combine."""
    chance = weather(known, "precipitation_probability", "%", span.start, span.end)
    if chance.size == 0 or np.isnan(chance).any():
        return {}
    share = chance / 100.0
    return {
        "min": float(share.max()) * 100.0,
        "max": float(min(share.sum(), 1.0)) * 100.0,
        "if_independent": float(1.0 - np.prod(1.0 - share)) * 100.0,
    }


def _any_chance(told: Told) -> Numbers:
    for taken_as, value in any_chance(told.trial.known, told.trial.span).items():
        yield NumberLine(
            "any_precipitation_probability", taken_as, value, "%", window=told.trial.span
        )


def _passed(told: Told) -> Numbers:
    """Give the first hour at which the row asks for something."""
    starts = [m.start for m in told.ruling.measures if m.start is not None]
    if told.ruling.outcome is not Outcome.GO and starts:
        yield NumberLine("hot_weather_limit_passed", "first_time", min(starts), "time")


def _first_freezing(told: Told) -> Numbers:
    """Give the age of the work at its first reading below freezing."""
    trial = told.trial
    for quantity, ages in ELEMENT_AGES.items():
        placed = next((s for a in ages if (s := since(trial.known, a, trial.task))), None)
        if placed is None:
            continue
        for reading in trial.known.past_readings(quantity):
            at = reading.start or reading_time(reading)
            cold = float(convert(float(reading.value), reading.unit, "degF")) < FREEZING_F
            if at is not None and at >= placed and cold:
                yield NumberLine("age_at_first_freezing", "value", hours_between(placed, at), "h")
                return


NAMED: Final[Mapping[str, Callable[[Told], Numbers]]] = {
    "air_temperature_midpoint": _midpoint,
    "air_above_freezing": _above_freezing,
    "freezing_time": _freezing_time,
    "frost_nights": _frost_nights,
    "gust_over_limit": _gust_over_limit,
    "zone_depth": _zone,
    "zone_length": _zone,
    "dew_point_margin": _dew_margin,
    "precipitation_probability_of_period": _period_chance,
    "any_precipitation_probability": _any_chance,
    "hot_weather_limit_passed": _passed,
    "age_at_first_freezing": _first_freezing,
}

# extremes of the weather that bears on a task


def bearing(rulings: Iterable[Ruling]) -> dict[str, str]:
    """Return the weather that some limit looks at, with its unit."""
    return {name: unit for ruling in rulings for name, unit in ruling.bears}


def extremes(trial: Trial, rulings: Sequence[Ruling]) -> list[NumberLine]:
    """Return the extremes of each weather quantity that a limit looks at.

    Over the hours of work, over all that is told from now on, and for rain over each wet day.
    """
    known = trial.known
    made: list[NumberLine] = []
    for quantity, unit in bearing(rulings).items():
        spans = [trial.span]
        begin, end = begins(known, quantity), reach(known, quantity)
        if begin is not None and end is not None and end > known.now:
            spans.append(Span(max(known.now, begin), end))
        for span in spans:
            made += _extreme(known, quantity, unit, span)
        if quantity == "precipitation_amount":
            made += _wet_days(known, unit)
    return list(dict.fromkeys(made))


def _extreme(known: Known, quantity: str, unit: str, span: Span) -> Iterable[NumberLine]:
    ways = {"air_temperature": ("min", "max"), "precipitation_amount": ("sum",)}
    for taken_as in ways.get(quantity, ("max",)):
        found = over_hours(known, quantity, unit, taken_as, span, whole=False)
        if found.value is not None:
            yield NumberLine(quantity, taken_as, found.value, unit, window=span)


def _wet_days(known: Known, unit: str) -> Iterable[NumberLine]:
    """Give the rain of each coming local day that has some."""
    for later in range(WET_DAYS):
        day = known.local_day(known.now) + timedelta(days=later)
        span = Span(_midnight(known, day), _midnight(known, day + timedelta(days=1)))
        found = over_hours(known, "precipitation_amount", unit, "sum", span, whole=True)
        if found.value:
            yield NumberLine("precipitation_amount", "sum", found.value, unit, window=span)
    yield from _wet_spell(known, unit)


def _wet_spell(known: Known, unit: str) -> Iterable[NumberLine]:
    """Give the rain of the wet days on end up to today: it is in the ground."""
    today = known.local_day(known.now)
    end = _midnight(known, today)
    total, start = 0.0, end
    for before in range(1, LONGEST_SPELL_D + 1):
        span = Span(_midnight(known, today - timedelta(days=before)), start)
        told = weather(known, "precipitation_amount", unit, span.start, span.end)
        if told.size == 0 or np.isnan(told).any() or told.sum() <= 0.0:
            break
        total, start = total + float(told.sum()), span.start
    if total > 0.0:
        window = Span(start, end)
        yield NumberLine("precipitation_amount", "sum", total, unit, window=window)


def _midnight(known: Known, day: date) -> datetime:
    return datetime.combine(day, time(0), tzinfo=known.zone).astimezone(UTC)


def at_moments(
    trial: Trial, quantities: Mapping[str, str], moments: Iterable[datetime]
) -> list[NumberLine]:
    """Return weather quantities at single moments: now, the start of work, the next window."""
    made = []
    for moment in moments:
        for quantity, unit in quantities.items():
            values = weather(trial.known, quantity, unit, moment, after(moment, 0.01))
            if values.size and np.isfinite(values[0]):
                made.append(NumberLine(quantity, "value", float(values[0]), unit, at=moment))
    return made


def dew_at(trial: Trial, moments: Iterable[datetime]) -> list[NumberLine]:
    """Return the dew point, and how far faces are told to lie above it, at single moments."""
    made = []
    for moment in moments:
        here = Span(moment, after(moment, 0.01))
        told = {n: hourly(trial, n, u, here) for n, u in DEW_FROM.items()}
        margin = hourly(trial, "air.dew_point_margin", "delta_degC", here)
        if margin is not None and margin.size and np.isfinite(margin[0]):
            value = float(convert(float(margin[0]), "delta_degC", "delta_degF"))
            made.append(NumberLine("dew_point_margin", "value", value, "delta_degF", at=moment))
        air = told["air_temperature"]
        if air is None or air.size == 0:
            continue
        above = dew_point_margin(
            air_temperature_c=air,
            dew_point_temperature_c=told["dew_point_temperature"],
            relative_humidity_pct=told["relative_humidity"],
        )
        if np.isfinite(above[0]):
            dew = float(convert(float(air[0] - above[0]), "degC", "degF"))
            made.append(NumberLine("dew_point_temperature", "value", dew, "degF", at=moment))
    return made


# all of an answer


def told_numbers(chosen: Chosen, rulings: Sequence[Ruling]) -> tuple[NumberLine, ...]:
    """Return every number of an answer once, the ones that decide first."""
    trial = chosen.judged.trial
    found = [*_of_rulings(rulings), *_chosen_times(chosen)]
    for judged in chosen.supposed:
        found += _of_rulings(r for r in judged.rulings if r.limit and r.limit.what_if)
    for option in chosen.options:
        moving = [r for r in option.rulings if r.moves or r.clears_at is not None]
        found += _of_rulings(sorted(moving, key=lambda r: -GRAVITY[r.outcome]))
    found += extremes(trial, rulings)
    looked = {q: u for q, u in bearing(rulings).items() if q != "precipitation_amount"}
    moments = [trial.known.now, trial.start]
    if chosen.next_start is not None:
        moments.append(chosen.next_start)
    found += at_moments(trial, looked, dict.fromkeys(moments))
    if any(r.limit is not None and r.limit.quantity == "dew_point_margin" for r in rulings):
        found += dew_at(trial, dict.fromkeys(moments))
    kept: dict[tuple[object, ...], NumberLine] = {}
    for number in found:
        kept.setdefault(_key(number), number)
    return tuple(kept.values())


def _of_rulings(rulings: Iterable[Ruling]) -> Iterator[NumberLine]:
    for ruling in rulings:
        number = None if ruling.limit is None else number_of(ruling.limit)
        if number is not None:
            yield number
        yield from ruling.numbers


def _chosen_times(chosen: Chosen) -> list[NumberLine]:
    if not chosen.options:
        return []
    best = chosen.helped or chosen.judged
    span = best.trial.span
    made = [
        NumberLine("work_start", "first_time", span.start, "time"),
        NumberLine("work_end", "last_time", span.end, "time"),
    ]
    passes = not best.refusals
    if passes and not best.trial.task.days:
        made.append(NumberLine("slot", "value", span.start, "time"))
    return made


def _key(number: NumberLine) -> tuple[object, ...]:
    window = None if number.window is None else (number.window.start, number.window.end)
    return (
        number.quantity, number.taken_as, window, number.at, number.place, number.what_if,
    )  # fmt: skip
