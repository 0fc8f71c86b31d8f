"""Conditions of a row: on the task, on facts and readings, on ages, on weather by hour."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.book import Condition
from rules.facts import ALSO_SAID, Value, same_word
from rules.quantities import is_fact
from rules.units import convert
from scheduler.planning.evidence.ages import AGES, COURSES, since
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import Span
from scheduler.planning.model.log import Fact
from scheduler.planning.rulings.quantities import aggregate, fact_number, hourly, is_hourly, site
from scheduler.planning.rulings.ruling import hours_between

EDGE: Final = 1e-6
SIZES: Final = (("_m", "m"), ("_mpa", "MPa"), ("_c", "degC"))  # of a task's element, house units
Mask = NDArray[np.float64]  # 1 holds, 0 does not, NaN nobody knows


def holds(condition: Condition, trial: Trial) -> bool | None:
    """Tell whether a condition that is no weather holds; None where nobody knows."""
    what = condition.what
    if is_fact(what):
        return _fact_holds(condition, trial)
    if what in AGES:
        begun = since(trial.known, what, trial.task)
        if begun is None:
            return None
        age_h = hours_between(begun, max(trial.start, trial.known.now))
        return _within(condition, _age_in_unit(age_h, condition.unit))
    low = condition.above is not None or condition.at_least is not None
    found = site(trial.known, what, condition.unit, trial.task, "high" if low else "low")
    if found is None or found.value is None:
        return None
    return _within(condition, float(found.value))


def _age_in_unit(age_h: float, unit: str) -> float:
    return age_h / 24.0 if unit == "d" else age_h


def _within(condition: Condition, value: float) -> bool:
    return (
        (condition.above is None or value > condition.above + EDGE)
        and (condition.at_least is None or value >= condition.at_least - EDGE)
        and (condition.below is None or value < condition.below - EDGE)
        and (condition.at_most is None or value <= condition.at_most + EDGE)
    )


def _fact_holds(condition: Condition, trial: Trial) -> bool | None:
    if condition.what.startswith("*."):
        return _every(condition, trial)
    if condition.is_ is None:
        number = said_number(condition.what, condition.unit, trial)
        return None if number is None else _within(condition, number)
    value = said(condition.what, trial)
    return None if value is None else same_word(as_said(value), condition.is_)


def _every(condition: Condition, trial: Trial) -> bool | None:
    """Tell whether a condition holds for every element of which anybody said something."""
    _, _, key = condition.what.partition(".")
    named = {fact.element for fact in trial.known.all_facts("*", key)} | {"task"}
    each = [_on(condition, f"{element}.{key}") for element in sorted(named)]
    told = [holds_ for c in each if (holds_ := _fact_holds(c, trial)) is not None]
    return all(told) if told else None


def _on(condition: Condition, what: str) -> Condition:
    """Return a condition on another fact."""
    return condition.model_copy(update={"what": what})


def as_said(value: object) -> Value:
    """Return what is said as the book's facts hold it: yes or no, else a word."""
    return value if isinstance(value, bool) else str(value)


def said_number(what: str, unit: str, trial: Trial) -> float | None:
    """Return a fact's value or a size of the task's element in a unit; None where it is none."""
    element, _, key = what.partition(".")
    fact = None if element == "task" else _fact(what, trial)
    if fact is not None:
        found = fact_number(fact, unit)
        usable = found is not None and not isinstance(found.value, bool)
        return float(found.value) if usable and found and found.value is not None else None
    names = (key, *ALSO_SAID.get(key, ()))
    for name, (ending, inside) in product(names, SIZES):
        value = trial.task.element.get(f"{name}{ending}")
        if isinstance(value, int | float) and not isinstance(value, bool):
            return float(convert(float(value), inside, unit))
    return None


def _fact(what: str, trial: Trial) -> Fact | None:
    element, _, key = what.partition(".")
    return trial.known.fact(element, key, trial.task.place)


def said(what: str, trial: Trial) -> object:
    """Return what is said of ``element.condition`` or ``task.key``; None where nobody said."""
    element, _, key = what.partition(".")
    if element == "task":
        return _of_task(key, trial)
    fact = _fact(what, trial)
    return fact.value if fact is not None else trial.task.element.get(key)


def _of_task(key: str, trial: Trial) -> object:
    task = trial.task
    if key == "grouted":
        return grouted(trial)
    own = getattr(task, key, None) if key in {"id", "load", "beside", "place", "label"} else None
    return own or task.element.get(key)


def grouted(trial: Trial) -> bool | None:
    """Tell whether the masonry is grouted: any grouted part makes the stricter rule hold."""
    told = trial.task.element.get("grouted")
    parts = [trial.known.fact(part, "grouted", trial.task.place) for part in COURSES]
    if any(part is not None and part.value is True for part in parts):
        return True
    if isinstance(told, bool):
        return told
    wall = trial.known.fact("wall", "grouted", trial.task.place)
    return None if wall is None else bool(wall.value)


def by_hour(
    conditions: Iterable[Condition], trial: Trial, span: Span, *, met: bool
) -> Mask | bool | None:
    """Return where conditions hold over the hours of a span.

    A single truth where none of them is weather, else one value an hour. ``met`` says whether
    they are ``when`` conditions (all must hold) or ``unless`` (any one lifts the row).
    """
    out: Mask | bool | None = met
    for condition in conditions:
        this = _one(condition, trial, span)
        if this is None:
            this = _unknown(condition)
        out = _both(out, this) if met else _either(out, this)
    return out


def _unknown(condition: Condition) -> bool | None:
    if condition.if_unknown == "apply":
        return True
    by_default = condition.if_unknown == "default" and not is_hourly(condition.what)
    return False if by_default or condition.if_unknown == "skip" else None


def _one(condition: Condition, trial: Trial, span: Span) -> Mask | bool | None:
    if not is_hourly(condition.what):
        return holds(condition, trial)
    values = hourly(trial, condition.what, condition.unit, span)
    if values is None:
        return None
    if condition.taken_as is not None and values.size:
        known = values[np.isfinite(values)]
        if not known.size:
            return None
        return _within(condition, aggregate(known, condition.taken_as)[0])
    out = np.array([float(_within(condition, v)) for v in values])
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
