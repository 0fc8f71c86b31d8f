"""Facts as the book's own machinery reads them: what is known of a task and its site."""

from __future__ import annotations

from rules.facts import Facts, Value
from rules.words import site_quantities
from scheduler.planning.evidence.ages import AGES, since
from scheduler.planning.evidence.known import Known
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import Span
from scheduler.planning.model.job import Task
from scheduler.planning.rulings.conditions import SIZES, grouted
from scheduler.planning.rulings.quantities import site
from scheduler.planning.rulings.ruling import hours_between


def facts_of(known: Known, task: Task) -> Facts:
    """Return the task's keys, the site's facts, ages and the worst readings."""
    out: dict[str, Value] = {}
    for name in ("id", "load", "beside", "place", "label"):
        word = getattr(task, name)
        if word:
            out[f"task.{name}"] = word
    for key, value in task.element.items():
        out |= _element(key, value)
    poured = grouted(Trial(known, task, Span(known.now, known.now)))
    if poured is not None:
        out["task.grouted"] = poured
    for fact in known.facts:
        if not task.place or fact.place in {"", task.place}:
            said = _value(fact.value, fact.unit)
            if said is not None:
                out[f"{fact.element}.{fact.condition}"] = said
    for age in AGES:
        begun = since(known, age, task)
        if begun is not None:
            out[age] = (hours_between(begun, known.now), "h")
    return out | _readings(known, task)


def _element(key: str, value: object) -> dict[str, Value]:
    for ending, unit in SIZES:
        if key.endswith(ending) and isinstance(value, int | float):
            return {f"task.{key.removesuffix(ending)}": (float(value), unit)}
    said = _value(value, "")
    return {} if said is None else {f"task.{key}": said}


def _value(value: object, unit: str) -> Value | None:
    if isinstance(value, bool | str):
        return value
    if isinstance(value, int | float):
        return (float(value), unit or "count")
    return None


def _readings(known: Known, task: Task) -> dict[str, Value]:
    out: dict[str, Value] = {}
    for quantity in {r.quantity for r in known.readings}:
        own = site_quantities().get(quantity)
        found = None if own is None else site(known, quantity, own.unit, task, "low")
        if own is None or found is None or found.value is None:
            continue
        value = found.value
        out[quantity] = value if isinstance(value, bool) else (float(value), own.unit)
    return out
