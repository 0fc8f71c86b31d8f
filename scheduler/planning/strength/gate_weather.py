"""What finished work has been through: observed weather, and temperatures read in it."""

from __future__ import annotations

from datetime import timedelta
from typing import Final

import numpy as np

from rules.verdict import FloatArray
from scheduler.planning.evidence.places import same_place
from scheduler.planning.model.frame import Frame
from scheduler.planning.model.job import State, Task
from scheduler.planning.model.log import Reading
from scheduler.planning.strength.fresh_work import CONCRETE, fresh_work
from scheduler.planning.strength.job_gates import GateWeather
from scheduler.planning.strength.measured import of_readings
from scheduler.planning.tables.hours import HourArray, HourlyTable

READ_IN: Final = {  # which readings tell of grout, and which of concrete
    False: frozenset({"grout_temperature", "masonry_temperature"}),
    True: frozenset({"concrete_temperature"}),
}


def gate_weather(
    frame: Frame,
    table: HourlyTable,
    observed: HourlyTable | None,
    told: HourlyTable | None = None,
) -> GateWeather:
    """Return the weather to come with what was observed and read before it.

    Parameters
    ----------
    frame : Frame
        Its log holds the readings; one counts for the task whose place it names, or for the only
        finished task of its kind.
    table : HourlyTable
        ``(scenarios, hours)`` from the frame's first hour.
    observed : HourlyTable, optional
        ``(hours,)`` or ``(1, hours)``. What lies before its last gap is not known, and of those
        hours the work is credited with those only in which somebody read its temperature.
    told : HourlyTable, optional
        ``(1, hours)`` of the forecast alone; gates of finished work that open in it open then.
    """
    done = [t for t in frame.job.tasks if _finished(frame, t) and fresh_work(t) is not None]
    since = [
        int(np.ceil((frame.hour_zero - finished) / timedelta(hours=1)))
        for task in done
        if (finished := frame.standing[task.id].finished) is not None
    ]
    back = max([0, *since])
    if back == 0:
        return GateWeather(table, told=told)
    start = table.start[0] - np.arange(back, 0, -1) * np.timedelta64(1, "h")
    past = _since_gap(start, _on(observed, start))
    whole = np.concatenate([start, table.start])
    read = {task.id: of_readings(_of(frame, task, done), whole) for task in done}
    dark = back if past is None else back - past.hours  # hours whose weather is not looked at
    return GateWeather(
        table,
        past,
        measured={name: values[dark:] for name, values in read.items()},
        read_before={name: values[:dark] for name, values in read.items()},
        told=told,
    )


def _finished(frame: Frame, task: Task) -> bool:
    return frame.standing[task.id].state is State.DONE


def _on(observed: HourlyTable | None, start: HourArray) -> dict[str, FloatArray]:
    """Return observed columns on other hours, gaps where nothing was observed."""
    if observed is None or not observed.hours:
        return {}
    at = (start - observed.start[0]).astype(np.int64)
    inside = (at >= 0) & (at < observed.hours)
    columns = {}
    for name, values in observed.columns.items():
        columns[name] = np.full(start.size, np.nan)
        columns[name][inside] = np.atleast_2d(values)[0, at[inside]]
    return columns


def _since_gap(start: HourArray, columns: dict[str, FloatArray]) -> HourlyTable | None:
    """Return the hours after the last one without an air temperature; None where there are none.

    A wall cannot be followed through hours that nobody knows.
    """
    air = columns.get("air_temperature_c")
    if air is None or np.isnan(air[-1]):
        return None
    gaps = np.flatnonzero(np.isnan(air))
    first = int(gaps[-1]) + 1 if gaps.size else 0
    return HourlyTable(start[first:], {name: values[first:] for name, values in columns.items()})


def _of(frame: Frame, task: Task, done: list[Task]) -> list[Reading]:
    concrete = task.work_type in CONCRETE
    alone = sum((other.work_type in CONCRETE) == concrete for other in done) == 1
    return [
        reading
        for reading in frame.progress.readings
        if reading.quantity in READ_IN[concrete]
        and (same_place(reading.place, task.place) if reading.place and task.place else alone)
    ]
