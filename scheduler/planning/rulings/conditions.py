"""Conditions of a row: on the task, on facts and readings, on ages, on weather by hour."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.book import Condition
from rules.facts import met, number, stated, within
from scheduler.planning.evidence.known import EPOCH
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import Span
from scheduler.planning.rulings.quantities import aggregate, hourly, is_hourly

HOUR: Final = timedelta(hours=1)
Mask = NDArray[np.float64]  # 1 holds, 0 does not, NaN nobody knows


def holds(condition: Condition, trial: Trial, *, every: bool = True) -> bool | None:
    """Tell whether a condition that is no weather holds; None where nobody knows.

    ``every`` place and element that is known of must meet it, else any one.
    """
    facts = trial.known.facts_of(trial.task)
    return met(condition, facts, every=every, hour=hour_at(trial))


def hour_at(trial: Trial) -> float:
    """Return the hour since 1970 at which a trial looks at ages: its start, now if that passed."""
    return (max(trial.start, trial.known.now) - EPOCH) / HOUR


def said_number(what: str, unit: str, trial: Trial) -> float | None:
    """Return the greatest number that is known of a fact or size; None where it is none."""
    found = stated(what, trial.known.facts_of(trial.task))
    amounts = [number(one.value, unit, hour_at(trial)) for one in found]
    return max((amount for amount in amounts if amount is not None), default=None)


def by_hour(
    conditions: Iterable[Condition], trial: Trial, span: Span, *, met: bool
) -> Mask | bool | None:
    """Return where conditions hold over the hours of a span.

    A single truth where none of them is weather, else one value an hour. ``met`` says whether
    they are ``when`` conditions (all must hold) or ``unless`` (any one lifts the row).
    """
    out: Mask | bool | None = met
    for condition in conditions:
        this = _one(condition, trial, span, every=not met)
        if this is None:
            this = _unknown(condition)
        out = _both(out, this) if met else _either(out, this)
    return out


def _unknown(condition: Condition) -> bool | None:
    if condition.if_unknown == "apply":
        return True
    by_default = condition.if_unknown == "default" and not is_hourly(condition.what)
    return False if by_default or condition.if_unknown == "skip" else None


def _one(condition: Condition, trial: Trial, span: Span, *, every: bool) -> Mask | bool | None:
    if not is_hourly(condition.what):
        return holds(condition, trial, every=every)
    values = hourly(trial, condition.what, condition.unit, span)
    if values is None:
        return None
    if condition.taken_as is not None and values.size:
        known = values[np.isfinite(values)]
        if not known.size:
            return None
        return within(aggregate(known, condition.taken_as)[0], condition)
    out = np.array([float(within(float(v), condition)) for v in values])
    out[np.isnan(values)] = np.nan
    return out


def _both(a: Mask | bool | None, b: Mask | bool | None) -> Mask | bool | None:
    if a is False or b is False:
        return False
    if a is True:
        return b
    if b is True:
        return a
    if a is None and b is None:
        return None
    a, b = (np.full(1, np.nan) if one is None else one for one in (a, b))
    both = np.where((a == 0.0) | (b == 0.0), 0.0, np.minimum(a, b))
    return np.asarray(both, dtype=np.float64)


def _either(a: Mask | bool | None, b: Mask | bool | None) -> Mask | bool | None:
    if a is True or b is True:
        return True
    if a is False:
        return b
    if b is False:
        return a
    if a is None and b is None:
        return None
    a, b = (np.full(1, np.nan) if one is None else one for one in (a, b))
    either = np.where((a == 1.0) | (b == 1.0), 1.0, np.maximum(a, b))
    return np.asarray(either, dtype=np.float64)
