"""The strength gates of a plan: when each opens, for the finish that is planned or was logged."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

import numpy as np

from scheduler.planning.model.calendars import moment_of
from scheduler.planning.model.frame import Frame
from scheduler.planning.model.job import Link, Task
from scheduler.planning.plan.plan_answer import FreshLine, GateLine
from scheduler.planning.schedule.network import Plan
from scheduler.planning.strength.job_gates import JobGates
from scheduler.planning.tables.finish import NEVER, IntArray


def gate_lines(frame: Frame, plan: Plan, strength: JobGates) -> tuple[GateLine, ...]:
    """Return the gates that open tasks wait for, in the order in which they open."""
    finishes = {row.id: row.finish for row in plan.placed}
    found = [
        GateLine(
            task=task.id,
            after=link.task,
            purpose=(link.gate.purpose if link.gate is not None else "") or task.id,
            opens=_moment(frame, strength.ready[task.id, link.task], finishes.get(link.task)),
            optimistic=_moment(
                frame, strength.optimistic[task.id, link.task], finishes.get(link.task)
            ),
            own=link.gate is not None and link.gate.criterion is not None,
        )
        for task, link in _gated(frame)
        if (task.id, link.task) in strength.ready
    ]
    late = max((line.opens for line in found if line.opens is not None), default=None)
    return tuple(sorted(found, key=lambda line: line.opens or late or frame.hour_zero))


def fresh_lines(frame: Frame, plan: Plan, strength: JobGates) -> tuple[FreshLine, ...]:
    """Return when placed grout and concrete resist one freeze, by planned or logged finish."""
    made = []
    for row in sorted(plan.placed, key=lambda placed: placed.finish):
        tables, at = strength.tables.get(row.id), min(row.finish, frame.hours)
        if tables is not None:
            ahead = np.flatnonzero(tables.followed[at:])  # the followed finish that stands for it
            near = at + int(ahead[0]) if ahead.size else at
            safe = _moment(frame, tables.freeze_safe, near)
            bought = bool(strength.bought[row.id][at])
            made.append(FreshLine(row.id, moment_of(frame.hour_zero, row.finish), safe, bought))
    for name, told in strength.done.items():
        finished = frame.standing[name].finished
        safe = _moment(frame, told.safe, None)
        held = any(source == name for source in strength.held.values())
        made.append(FreshLine(name, finished, safe, False, froze=held))
    return tuple(made)


def held_notes(frame: Frame, strength: JobGates) -> tuple[str, ...]:
    """Return what is not planned because it stands on work that froze."""
    named = {task.id: task.name for task in frame.job.tasks}
    return tuple(
        f"{named[task]} is not planned: {named[source]} froze before it could resist; the "
        "engineer decides what it is worth, and releases the task by name"
        for task, source in strength.held.items()
    )


def _gated(frame: Frame) -> Iterator[tuple[Task, Link]]:
    for task in frame.open_tasks:
        for link in task.after:
            if link.gate is not None:
                yield task, link


def _moment(frame: Frame, table: IntArray, finish: int | None) -> datetime | None:
    """Return the moment a table gives: of a finish, or of work that is done."""
    if table.ndim and finish is None:
        return None
    hour = int(table[min(finish or 0, table.size - 1)] if table.ndim else table)
    return moment_of(frame.hour_zero, hour) if hour < NEVER else None
