"""When a row holds: its conditions on facts, once; its conditions on weather, hour by hour."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np

from rules.book_rows import Condition, Row, TakenAs
from rules.facts import Asked, Since, all_hold, grows, holds, said
from rules.quantities import is_fact, weather_columns
from rules.verdict import FloatArray, Verdict, VerdictArray
from rules.weather import BoolArray, Hours, Weather, meets
from rules.words import site_quantities

GO, NOT_KNOWN = np.int8(Verdict.GO), np.int8(Verdict.NOT_KNOWN)
Met = tuple[BoolArray, BoolArray]  # where a condition is met, and where that is known
Look = Callable[[str, Hours, TakenAs], FloatArray]  # a quantity's aggregate for each window


def is_hourly(condition: Condition) -> bool:
    """Tell whether a condition looks at weather, not at a fact or reading."""
    return condition.what in weather_columns() or (
        not is_fact(condition.what) and condition.what not in site_quantities()
    )


def fixed_conditions(row: Row, asked: Asked) -> bool | None:
    """Tell whether the conditions on facts hold: yes, no, or nobody knows.

    An age that is known is no fixed condition: see ``age_conditions``.
    """
    when = all_hold((c for c in row.when if _is_fixed(c, asked)), asked.facts)
    if when is False:
        return False
    unless = [holds(c, asked.facts) for c in row.unless if _is_fixed(c, asked)]
    if any(answer is True for answer in unless):
        return False
    return None if when is None or any(answer is None for answer in unless) else True


def _is_fixed(condition: Condition, asked: Asked) -> bool:
    return not is_hourly(condition) and not grows(condition.what, asked.facts)


def age_conditions(row: Row, asked: Asked, hours: int) -> list[Met]:
    """Return, for each condition on an age that is known, where it is met hour by hour."""
    out: list[Met] = []
    for conditions, wanted in ((row.when, True), (row.unless, False)):
        for condition in conditions:
            if is_hourly(condition) or not grows(condition.what, asked.facts):
                continue
            begun = [v.hour for v in said(condition.what, asked.facts) if isinstance(v, Since)]
            ages = np.maximum(np.arange(hours) - np.array(begun)[:, np.newaxis], 0.0)
            here = meets(ages, condition)  # the SI unit of time is the hour
            kept = here.any(axis=0) if wanted else ~here.all(axis=0)
            out.append((np.asarray(kept, dtype=np.bool_), np.ones(hours, dtype=np.bool_)))
    return out


def hourly_conditions(row: Row, weather: Weather) -> list[Met]:
    """Return, for each condition on weather, where it is met hour by hour."""
    return [
        _met(hours, None if hours is None else hours.values, condition, wanted)
        for condition, wanted, hours in _weather_conditions(row, weather)
    ]


def window_conditions(row: Row, weather: Weather, look: Look) -> list[Met]:
    """Return, for each condition on weather, where it is met over the row's own windows.

    A condition that does not say how it is taken is the mean of the window.
    """
    out = []
    for condition, wanted, hours in _weather_conditions(row, weather):
        way: TakenAs = condition.taken_as or "mean"
        values = None if hours is None else look(condition.what, hours, way)
        out.append(_met(hours, values, condition, wanted))
    return out


def _weather_conditions(
    row: Row, weather: Weather
) -> Iterable[tuple[Condition, bool, Hours | None]]:
    for conditions, wanted in ((row.when, True), (row.unless, False)):
        for condition in conditions:
            if is_hourly(condition):
                yield condition, wanted, weather.quantity(condition.what, row.given)


def _met(
    hours: Hours | None, values: FloatArray | None, condition: Condition, wanted: bool
) -> Met:
    if hours is None or values is None:
        taken = {"apply": wanted, "skip": not wanted}.get(condition.if_unknown)
        return np.array([taken is not False]), np.array([taken is not None])
    met = meets(values, condition)
    return (met if wanted else ~met), ~np.isnan(values)


def where_it_applies(verdict: VerdictArray, fixed: bool | None, hourly: list[Met]) -> VerdictArray:
    """Keep a verdict where its conditions hold; where one is not known, NOT_KNOWN at most."""
    if fixed is True and not hourly:
        return verdict
    out = verdict
    unsure = np.array([fixed is None])
    for met, known in hourly:
        out = np.where(known & ~met, GO, out)
        unsure = unsure | ~known
    return np.where(unsure, np.minimum(out, NOT_KNOWN), out) if unsure.any() else out
