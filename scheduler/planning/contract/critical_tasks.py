"""Which tasks the end of the job waits for: no float on the longest chain of hours and waits.

By the critical path method (J. E. Kelley and M. R. Walker, 1959), on working hours and elapsed
waits as one clock: crews, calendars and weather are left aside.
"""

from __future__ import annotations

from graphlib import TopologicalSorter
from typing import Final

from scheduler.planning.model.job import Job, Link, LinkKind, Task

SAME_H: Final = 1e-6


def critical_tasks(job: Job) -> frozenset[str]:
    """Return the tasks without float before the job's last finish."""
    tasks = {task.id: task for task in job.tasks}
    before_each = {t.id: [link.task for link in t.after] for t in job.tasks}
    order = list(TopologicalSorter(before_each).static_order())
    start: dict[str, float] = {}
    for name in order:
        begins = [_begin(tasks[link.task], link, start) for link in tasks[name].after]
        start[name] = max(begins, default=0.0)
    end = max((start[name] + tasks[name].duration_h for name in order), default=0.0)
    latest = {name: end - tasks[name].duration_h for name in order}
    for name in reversed(order):
        for link in tasks[name].after:
            before = tasks[link.task]
            span = _begin(before, link, {before.id: 0.0})
            latest[before.id] = min(latest[before.id], latest[name] - span)
    return frozenset(name for name in order if latest[name] - start[name] <= SAME_H)


def _begin(before: Task, link: Link, start: dict[str, float]) -> float:
    """Return when a successor may begin by one link, hours from the start of all."""
    done = 0.0 if link.kind is LinkKind.START_START else before.duration_h
    return start[before.id] + done + link.least_wait_h
