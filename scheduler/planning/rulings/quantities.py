"""Quantities resolved: a reading on site first, then a fact, then what the weather says.

A reading outranks the forecast for its place and hour; where several places were read, the worst
governs. What nobody provides is said to be absent, a hole is a gap: neither is ever good news.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

import numpy as np

from rules.facts import number, read_input
from rules.quantities import computed, inputs_of, si_unit, weather_columns
from rules.units import convert
from rules.verdict import FloatArray
from rules.words import site_quantities
from scheduler.planning.evidence.facts import By, Fact
from scheduler.planning.evidence.known import Known
from scheduler.planning.evidence.observed_then_forecast import hour_of, last_hour, moment_of
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import Span
from scheduler.planning.model.job import Task
from scheduler.planning.rulings.ruling import hours_between

Sense = Literal["low", "high"]
Missing = Literal["", "absent", "gap", "stale", "beyond", "before"]

# Weather by its plain name: the house column and the unit that column is in.
COLUMNS: Final = weather_columns()
AMOUNTS: Final = frozenset({"precipitation_amount", "snowfall_amount", "ice_accumulation"})


@dataclass(frozen=True, slots=True)
class Reckoned:
    """A quantity at a time or over hours, and how it came about."""

    value: float | bool | None
    unit: str
    basis: str = ""  # reading, fact, forecast, observed, age
    missing: Missing = ""
    at: datetime | None = None
    window: Span | None = None
    place: str = ""
    age_h: float | None = None  # of a reading
    places: int = 1  # how many places were read
    stays: bool = False  # a bad one stays until it is read otherwise


def weather(known: Known, quantity: str, unit: str, start: datetime, end: datetime) -> FloatArray:
    """Return a weather quantity by hour in a unit; empty where no source has it."""
    column, own = COLUMNS[quantity]
    series = known.view.hours.get(column)
    if series is None:
        return np.empty(0)
    return np.asarray(convert(series.cut(start, end), own, unit), dtype=np.float64)


def reach(known: Known, quantity: str) -> datetime | None:
    """Return the end of the hours that the sources give for a weather quantity."""
    series = known.view.hours.get(COLUMNS[quantity][0])
    return None if series is None else moment_of(series.end)


def begins(known: Known, quantity: str) -> datetime | None:
    """Return the first hour that the sources give for a weather quantity."""
    series = known.view.hours.get(COLUMNS[quantity][0])
    return None if series is None else moment_of(series.first)


def over_hours(
    known: Known, quantity: str, unit: str, taken_as: str, span: Span, *, whole: bool
) -> Reckoned:
    """Return an aggregate of a weather quantity over a span.

    ``whole`` asks for every hour of the span (a mean, a sum); else hours past the end of the
    forecast are left out and what is known decides. Past hours that nobody recorded are left out
    likewise: nothing can be done about them.
    """
    values = weather(known, quantity, unit, span.start, span.end)
    if values.size == 0:
        missing: Missing = "absent" if COLUMNS[quantity][0] not in known.view.hours else "beyond"
        return Reckoned(None, unit, "forecast", missing, window=span)
    kept, missing = _kept(known, quantity, values, span, whole=whole)
    if missing:
        return Reckoned(None, unit, "forecast", missing, window=span)
    value, place = aggregate(kept, taken_as)
    at = None
    if place is not None:
        offset = int(np.flatnonzero(values == value)[0])
        at = moment_of(hour_of(span.start) + offset)
    stale = known.view.stale and last_hour(span.end) > hour_of(known.now)
    shown = None if not np.isfinite(value) else value
    return Reckoned(shown, unit, "forecast", "stale" if stale else "", at, span)


def _kept(
    known: Known, quantity: str, values: FloatArray, span: Span, *, whole: bool
) -> tuple[FloatArray, Missing]:
    """Return the hours that count: not those that passed unseen, nor those nobody reaches."""
    series = known.view.hours[COLUMNS[quantity][0]]
    hours = np.arange(values.size) + hour_of(span.start)
    unseen = np.isnan(values)
    passed = (hours <= hour_of(known.now)) & unseen
    early = (hours < series.first) & ~passed
    beyond = hours >= series.end
    if whole and early.any():
        return values, "before"
    if (beyond & ~passed).any() and (whole or beyond.all()):
        return values, "beyond"
    keep = ~beyond & ~passed & ~early
    if not keep.any():
        return values, "before" if passed.any() or early.any() else "beyond"
    return (values, "gap") if unseen[keep].any() else (values[keep], "")


def aggregate(values: FloatArray, taken_as: str) -> tuple[float, int | None]:
    """Return an aggregate and, for an extreme, the place of its first hour."""
    if taken_as == "min":
        return float(values.min()), int(values.argmin())
    if taken_as == "max":
        return float(values.max()), int(values.argmax())
    if taken_as == "mean":
        return float(values.mean()), None
    if taken_as == "sum":
        return float(values.sum()), None
    raise ValueError(f"taken as {taken_as!r}")


# any quantity of a row by hour


def is_hourly(quantity: str) -> bool:
    """Tell whether a quantity comes by hour: a weather column or a function of some."""
    return quantity in COLUMNS or computed(quantity) is not None


def hourly(
    trial: Trial,
    quantity: str,
    unit: str,
    span: Span,
    *,
    given: Mapping[str, float] | None = None,
) -> FloatArray | None:
    """Return a quantity by hour of a span; None where a source of it is absent."""
    if quantity in COLUMNS:
        if COLUMNS[quantity][0] not in trial.known.view.hours:
            return None
        return weather(trial.known, quantity, unit, span.start, span.end)
    function = computed(quantity)
    if function is None:
        return None
    arguments: dict[str, object] = {}
    for name, needed in inputs_of(quantity):
        value = _argument(trial, name, span, given or {})
        if value is not None:
            arguments[name] = value
        elif needed:
            return None
    values = np.asarray(function(**arguments), dtype=np.float64)
    count = last_hour(span.end) - hour_of(span.start)
    wide = np.broadcast_to(values, (count,))
    return np.asarray(convert(wide.copy(), si_unit(unit), unit), dtype=np.float64)


def _argument(
    trial: Trial, name: str, span: Span, given: Mapping[str, float]
) -> FloatArray | float | None:
    """Return an argument of a computed quantity: read on site, by hour, or as the row gives it."""
    stem, _, _ = name.rpartition("_")
    own = site_quantities().get(stem)
    facts = trial.known.facts_of(trial.task)
    read = None if own is None else read_input(stem, si_unit(own.unit), facts)
    if read is not None and stem not in COLUMNS:
        return read
    if stem in COLUMNS and COLUMNS[stem][0] == name:
        if name not in trial.known.view.hours:
            return read if read is not None else given.get(name)
        unit = COLUMNS[stem][1]
        return weather(trial.known, stem, unit, span.start, span.end)
    if name in trial.known.view.hours:
        return trial.known.view.hours[name].cut(span.start, span.end)
    return given.get(name)


# readings and facts


def site(
    known: Known,
    quantity: str,
    unit: str,
    task: Task,
    sense: Sense,
    *,
    age_h: float | None = None,
    at: datetime | None = None,
) -> Reckoned | None:
    """Return the worst of what is known of a quantity on site; None where nobody said.

    ``sense`` says which side is worse. At ``at``, now unless given, what was read longer than
    ``age_h`` ago no longer counts.
    """
    found = on_site(known, quantity, unit, task, age_h=age_h, at=at)
    pick: Callable[..., Reckoned] = min if sense == "low" else max
    return pick(found, key=lambda one: float(one.value or 0.0), default=None)


def on_site(
    known: Known,
    quantity: str,
    unit: str,
    task: Task,
    *,
    age_h: float | None = None,
    at: datetime | None = None,
) -> list[Reckoned]:
    """Return what is known of a quantity at each place that concerns a task; words left out."""
    facts = fresh(known.facts_of(task).facts(quantity), age_h, at or known.now)
    told = [(fact, _amount(fact, unit)) for fact in facts]
    kept = [(fact, value) for fact, value in told if value is not None]
    return [
        Reckoned(
            value=value,
            unit="yes_no" if isinstance(value, bool) else unit,
            basis="reading" if fact.by is By.READING else "fact",
            at=fact.at,
            place=fact.place,
            age_h=None if fact.at is None else hours_between(fact.at, known.now),
            places=len(kept),
            stays=fact.stays,
        )
        for fact, value in kept
    ]


def fresh(facts: Iterable[Fact], age_h: float | None, at: datetime) -> list[Fact]:
    """Return the facts that count at a moment; the row says for how many hours one does."""
    return [
        fact
        for fact in facts
        if fact.at is None or age_h is None or hours_between(fact.at, at) < age_h
    ]


def _amount(fact: Fact, unit: str) -> float | bool | None:
    if isinstance(fact.value, bool):
        return fact.value
    return None if isinstance(fact.value, str) else number((fact.value, fact.unit), unit)
