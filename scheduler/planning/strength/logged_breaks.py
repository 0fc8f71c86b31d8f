"""Breaks of specimens as the log tells them, for the mix's own strength curve."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from rules.breaks import Break, Missing, calibrate
from rules.curing import FreshWork
from rules.errors import Faults
from rules.units import convert
from rules.verdict import FloatArray
from scheduler.planning.evidence.places import same_place
from scheduler.planning.model.frame import Frame
from scheduler.planning.model.job import State, Task
from scheduler.planning.model.log import Reading
from scheduler.planning.strength.fresh_work import CONCRETE, fresh_work

STRENGTHS: Final = frozenset({"grout_strength", "concrete_strength"})


def breaks_of(
    readings: Iterable[Reading], *, placed: datetime, age_h: FloatArray | None = None
) -> list[Break]:
    """Return the breaks among readings, each at its specimen's equivalent age.

    Parameters
    ----------
    readings : Reading
        ``grout_strength`` or ``concrete_strength``, one for each specimen, with the moment it was
        broken. Others are left out, and those broken before placing or past the ages that are
        known: they are of another batch, or of an age nobody can tell.
    placed : datetime
        When the specimens were cast, UTC.
    age_h : (hours + 1,), optional
        Equivalent age by the hour since then, of specimens cured on site beside the work. Left
        out: cured at 20 °C, so that an hour is an hour.
    """
    found = []
    for reading in readings:
        if reading.quantity not in STRENGTHS or reading.at is None:
            continue
        since = (reading.at - placed) / timedelta(hours=1)
        age = _age(since, age_h)
        if age is not None:
            strength = float(convert(float(reading.value), reading.unit, "MPa"))
            found.append(Break(age_h=age, strength_mpa=strength))
    return found


def _age(since_h: float, age_h: FloatArray | None) -> float | None:
    if since_h < 0.0:
        return None
    if age_h is None:
        return since_h
    known = np.flatnonzero(np.isfinite(age_h))
    if not known.size or since_h > known[-1]:
        return None
    return float(np.interp(since_h, known, age_h[known]))


@dataclass(frozen=True, slots=True)
class OwnMixes:
    """Work whose strength follows breaks of its own mix, and what is to be said of the breaks."""

    works: Mapping[str, FreshWork]  # by task
    notes: tuple[str, ...]


def own_mixes(frame: Frame) -> OwnMixes:
    """Return the fresh work of a job with the curves that the logged breaks give.

    Specimens are taken as cast when their task was finished and cured at 20 °C; those cured colder
    were younger than that, so the curve is on the low side. A break names the place of its task,
    or there is but one finished task of its kind. Its curve holds for every task of the same work
    type, cement and specified strength. Breaks that cannot be true give no curve and a note.
    """
    works, notes = {}, []
    for task in frame.job.tasks:
        work, done = fresh_work(task, on_hand=frame.job.on_hand), frame.standing[task.id]
        if work is None or done.state is not State.DONE or done.finished is None:
            continue
        broken = breaks_of(_of(frame, task), placed=done.finished)
        if not broken:
            continue
        try:
            fitted = calibrate(broken, specified_mpa=work.specified_mpa)
        except Faults as faults:
            notes += [f"breaks of {task.name} are not used: {fault}" for fault in faults.faults]
            continue
        if isinstance(fitted, Missing):
            notes.append(f"breaks of {task.name} are not used yet: {fitted.text()} to come")
            continue
        notes.append(f"strength of {task.name} follows {fitted.planned_on.source}")
        for other in frame.job.tasks:
            same = fresh_work(other, on_hand=frame.job.on_hand)
            if same is not None and _mix(other, same) == _mix(task, work):
                works[other.id] = replace(same, model=fitted.planned_on)
    return OwnMixes(works, tuple(notes))


def _mix(task: Task, work: FreshWork) -> tuple[str, object, float]:
    return task.work_type, task.element.get("cement"), work.specified_mpa


def _of(frame: Frame, task: Task) -> list[Reading]:
    """Return the breaks that belong to a finished task: by place, or as the only one of a kind."""
    kind = f"{_kind(task)}_strength"
    alike = [
        other.id
        for other in frame.job.tasks
        if _kind(other) == _kind(task)
        and frame.standing[other.id].state is State.DONE
        and fresh_work(other) is not None
    ]
    return [
        reading
        for reading in frame.progress.readings
        if reading.quantity == kind
        and (
            same_place(reading.place, task.place)
            if reading.place and task.place
            else alike == [task.id]
        )
    ]


def _kind(task: Task) -> str:
    return "concrete" if task.work_type in CONCRETE else "grout"
