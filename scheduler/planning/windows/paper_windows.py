"""Labels, specifications and engineers' notes over hours: which starts their criteria allow.

A criterion looks at the hours of the work and, where it says ``for_h``, so many hours after.
All criteria of an alternative hold together; any alternative will do. What no forecast tells, a
dry face or a broken specimen, is read on site and refuses no start here. The temperature of a
surface is taken as the air's: a face in the sun is warmer, a face under a clear night sky colder,
and the reading on site decides.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import numpy as np

from rules.facts import Asked
from rules.grading import at_hand
from rules.quantities import si_unit, weather_columns
from rules.units import convert
from rules.verdict import Verdict, VerdictArray
from rules.weather import EDGE_TOLERANCE, Weather, hours_of
from rules.windows import HourIndex, least_between, running_total, sum_between
from scheduler.planning.model.job import Alternative, Criterion, Document
from scheduler.planning.tables.finish import NEVER

STANDS_IN: Final = {"surface_temperature": "air_temperature"}
FIRST_DAY_H: Final = 24  # what must be forecast of a period after the work
DRY: Final = Criterion(quantity="precipitation_amount", unit="in", at_most=0.0)
GO, GWP = np.int8(Verdict.GO), np.int8(Verdict.GO_WITH_PROTECTION)
NOT_KNOWN, NO_GO = np.int8(Verdict.NOT_KNOWN), np.int8(Verdict.NO_GO)


def paper_verdicts(
    documents: Iterable[Document],
    weather: Weather,
    finish: HourIndex,
    asked: Asked,
) -> VerdictArray:
    """Judge each start by the criteria of every document.

    Parameters
    ----------
    documents : iterable of Document
        Those that bind the task.
    weather : Weather
        House columns ``(..., hours)``.
    finish : (..., hours)
        Finish of each start, NEVER where there is none.
    asked : Asked
        With the measures to be had; an alternative that needs another is no way.

    Returns
    -------
    (..., hours)
        The gravest of the documents, each by its mildest alternative.
    """
    out = np.zeros(finish.shape, dtype=np.int8)
    for document in documents:
        ways = [
            _alternative(way, weather, finish, there)
            for way in document.alternatives
            if (there := _there_from(way.with_measure, asked)) < NEVER
        ]
        if ways:
            shape = np.broadcast_shapes(out.shape, *(way.shape for way in ways))
            mildest = np.minimum.reduce([np.broadcast_to(way, shape) for way in ways])
            out = np.maximum(np.broadcast_to(out, shape), mildest)
        elif document.alternatives:
            out = np.full(out.shape, NO_GO)
    return out


def _there_from(measure: str, asked: Asked) -> int:
    """Return the hour from which on a measure is there; NEVER where nobody has it."""
    if not measure or asked.measures is None or measure in at_hand(asked.measures):
        return 0
    return asked.coming.get(measure, NEVER)


def _alternative(
    way: Alternative, weather: Weather, finish: HourIndex, there: int
) -> VerdictArray:
    out = np.full(finish.shape, GWP if way.with_measure else GO, dtype=np.int8)
    out = np.where(np.arange(finish.shape[-1]) < there, NO_GO, out)
    for criterion in way.criteria:
        verdict = _criterion(criterion, weather, finish)
        if verdict is not None:
            out = np.maximum(out, verdict)
    return out


def _criterion(criterion: Criterion, weather: Weather, finish: HourIndex) -> VerdictArray | None:
    """Return the verdict by start; None where the weather says nothing of the quantity."""
    dry_h = 0.0
    if criterion.quantity == "dry_time" and criterion.at_least is not None:
        dry_h = float(convert(criterion.at_least, criterion.unit, "h"))
        criterion = DRY
    name = STANDS_IN.get(criterion.quantity, criterion.quantity)
    if name not in weather_columns() or criterion.equals is not None:
        return None
    hours = weather.quantity(name, {})
    begin = np.arange(weather.hours)
    after = int(np.ceil(max(criterion.for_h or 0.0, dry_h)))
    end = np.where(finish >= NEVER, begin + 1, finish) + after
    if hours is None:
        return np.full(finish.shape, NOT_KNOWN)
    low, high = _bounds(criterion)
    if criterion.quantity == "precipitation_amount":
        total = _total(hours.values, begin, end)
        return _graded(total, low, high)
    judged = np.full(finish.shape, GO)
    # The greatest is the least of the values turned round; what is unbounded needs no look.
    sides = [(sign, bound) for sign, bound in ((1.0, low), (-1.0, -high)) if np.isfinite(bound)]
    for sign, bound in sides or [(1.0, low)]:
        least = least_between(_ended(sign * hours.values, hours.reach), begin, end)
        known = np.where(np.isfinite(least), least, np.nan)
        judged = np.maximum(judged, _graded(known, bound, np.inf))
    needed = np.minimum(end, end - after + FIRST_DAY_H)
    return np.where(needed > hours.reach, np.maximum(judged, NOT_KNOWN), judged)


def _ended(values: np.ndarray, reach: HourIndex) -> np.ndarray:
    """Leave out hours past a column's end: what is known decides."""
    return np.where(np.arange(values.shape[-1]) >= reach, np.inf, values)


def _total(values: np.ndarray, begin: HourIndex, end: HourIndex) -> np.ndarray:
    """Return amounts over each window, NaN where an hour of it is not known or lies past it."""
    hours = hours_of(values)
    missing = np.isnan(values)
    holes = sum_between(running_total(missing.astype(np.float64)), begin, end)
    past = end > hours.values.shape[-1]
    total = sum_between(running_total(np.where(missing, 0.0, values)), begin, end)
    # rain already known to fall refuses the start even where later hours are not known
    return np.where((holes > 0.5) | past, np.where(total > 0.0, total, np.nan), total)


def _bounds(criterion: Criterion) -> tuple[float, float]:
    """Return the SI range allowed, a strict bound drawn in by the edge's tolerance."""
    low, high = -np.inf, np.inf
    if criterion.at_least is not None:
        low = max(low, _si(criterion, criterion.at_least - EDGE_TOLERANCE))
    if criterion.above is not None:
        low = max(low, _si(criterion, criterion.above + EDGE_TOLERANCE))
    if criterion.at_most is not None:
        high = min(high, _si(criterion, criterion.at_most + EDGE_TOLERANCE))
    if criterion.below is not None:
        high = min(high, _si(criterion, criterion.below - EDGE_TOLERANCE))
    return low, high


def _si(criterion: Criterion, value: float) -> float:
    return float(convert(value, criterion.unit, si_unit(criterion.unit)))


def _graded(values: np.ndarray, low: float, high: float) -> VerdictArray:
    fits = (values >= low) & (values <= high)
    out = np.where(fits, GO, NO_GO).astype(np.int8)
    return np.where(np.isnan(values), NOT_KNOWN, out).astype(np.int8)
