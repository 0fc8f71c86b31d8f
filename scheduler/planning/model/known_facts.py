"""What is known of a task and the site, under the names that the rule book's rows use.

``task.grouted`` and other keys of the task come from the job file; ``grout.cement`` or
``wall.braced`` from the newest fact of the progress log, else from the task's ``element``; a
reading by its own name, as long as it was taken at the task's place or names none.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from rules.book import measures
from rules.facts import Asked, Value
from scheduler.planning.model.job import Job, Task
from scheduler.planning.model.log import Fact, Progress, Reading

SIZES: Final = {"_m": "m", "_mpa": "MPa", "_c": "degC"}  # endings of a task's element
OF_TASK: Final = ("id", "load", "beside", "place", "label")


def asked_of(job: Job, task: Task, progress: Progress) -> Asked:
    """Return what the book is asked of a task: what is known of it, and measures to be had."""
    fetched = {name for name, measure in measures().items() if measure.kind == "store"}
    had = frozenset(job.on_hand) | {offer.measure for offer in job.can_be_had} | fetched
    return Asked(task.work_type, KnownFacts(task, progress), had)


class KnownFacts(Mapping[str, Value]):
    """Facts, readings and the task's own keys as one mapping; what nobody said is absent."""

    def __init__(self, task: Task, progress: Progress) -> None:
        self._task = task
        near = [f for f in progress.facts if _near(f.place, task.place)]
        self._facts: dict[str, Fact] = {f"{f.element}.{f.condition}": f for f in near}
        self._readings: dict[str, Reading] = {
            r.quantity: r for r in progress.readings if _near(r.place, task.place)
        }

    def __getitem__(self, name: str) -> Value:
        found = self._found(name)
        if found is None:
            raise KeyError(name)
        return found

    def __iter__(self) -> Iterator[str]:
        yield from {**self._facts, **self._readings}
        yield from (f"task.{key}" for key in OF_TASK if getattr(self._task, key))
        yield from (f"task.{key}" for key in self._task.element)

    def __len__(self) -> int:
        return sum(1 for _ in self)

    def _found(self, name: str) -> Value | None:
        element, dot, key = name.partition(".")
        if not dot:
            return _read(self._readings.get(name))
        if element == "task" and key in OF_TASK:
            return getattr(self._task, key) or self._of_element(key)
        if name in self._facts:
            fact = self._facts[name]
            return _value(fact.value, fact.unit)
        return self._of_element(key)

    def _of_element(self, key: str) -> Value | None:
        if key in self._task.element:
            return _value(self._task.element[key], "")
        for ending, unit in SIZES.items():
            size = self._task.element.get(f"{key}{ending}")
            if isinstance(size, int | float):
                return float(size), unit
        return None


def _near(place: str, wanted: str) -> bool:
    return not place or not wanted or place.casefold() == wanted.casefold()


def _read(reading: Reading | None) -> Value | None:
    return None if reading is None else _value(reading.value, reading.unit)


def _value(value: object, unit: str) -> Value | None:
    if isinstance(value, bool | str):
        return value
    if isinstance(value, int | float) and unit:
        return float(value), unit
    return None if value is None else str(value)
