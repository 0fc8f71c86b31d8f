"""The book's waits on the age of masonry, grout and concrete, kept as links of the job.

A job file need not repeat them: a task that the book refuses on young work waits for each task
that this work comes from, on every way that leads to it, as if the file had written the hours.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta

from rules.book import Book, Row
from rules.conditions import fixed_conditions
from rules.verdict import Verdict
from scheduler.planning.evidence.ages import (
    AGES,
    ancestors,
    finished,
    is_done,
    kinds_of,
    near,
    since,
)
from scheduler.planning.evidence.facts import Evidence, asked_with, evidence
from scheduler.planning.model.job import Job, Link, LinkKind, Task
from scheduler.planning.model.log import Progress
from scheduler.planning.model.standing import standings


def with_book_waits(job: Job, book: Book, progress: Progress, now: datetime) -> Job:
    """Return the job whose links carry the book's waits too."""
    known = _known(job, progress, now)
    waits = {task.id: _waits(known, task, book) for task in job.tasks}
    return replace(job, tasks=tuple(_linked(task, waits[task.id]) for task in job.tasks))


def as_old_as_asked(job: Job, book: Book, progress: Progress, now: datetime) -> Job:
    """Return the job as it is planned: its tasks not before what they rest on is old enough.

    An age that nobody logged counts from now: a plan has no later hour to count from.
    """
    known = _known(job, progress, now)
    tasks = tuple(_not_before(known, task, book) for task in job.tasks)
    return with_book_waits(replace(job, tasks=tasks), book, progress, now)


def _known(job: Job, progress: Progress, now: datetime) -> Evidence:
    return evidence(job, progress.entries, standings(job, progress, now=now), now)


def _waits(known: Evidence, task: Task, book: Book) -> dict[str, float]:
    """Return the hours after each task that the book has this one wait."""
    found: dict[str, float] = {}
    before = ancestors(known.job, task)
    for row, hours in _refusing(known, task, book):
        for other in known.job.tasks:
            counts = other.work_type in kinds_of(row.quantity) and near(other, task)
            if counts and other.id in before:
                found[other.id] = max(found.get(other.id, 0.0), hours)
    return found


def _refusing(known: Evidence, task: Task, book: Book) -> Iterator[tuple[Row, float]]:
    """Yield the rows that may refuse a task on young work, with the age that they ask."""
    asked = asked_with(known, task, known.now)
    for row in book.rows_for(task.work_type):
        if row.quantity not in AGES or fixed_conditions(row, asked) is False:
            continue
        edges = [b.up_to for b in row.bands if b.outcome is Verdict.NO_GO and b.up_to is not None]
        if edges:
            yield row, max(edges) * (24.0 if row.unit == "d" else 1.0)


def _linked(task: Task, waits: dict[str, float]) -> Task:
    left = dict(waits)
    links = []
    for link in task.after:
        hours = left.pop(link.task, 0.0) if link.kind is LinkKind.FINISH_START else 0.0
        links.append(replace(link, wait_h=max(link.wait_h, hours)))
    links += [Link(before, wait_h=hours) for before, hours in left.items()]
    return replace(task, after=tuple(links)) if waits else task


def _not_before(known: Evidence, task: Task, book: Book) -> Task:
    found = []
    before = ancestors(known.job, task)
    for row, hours in _refusing(known, task, book):
        parts = [t for t in known.job.tasks if t.work_type in kinds_of(row.quantity)]
        ahead = any(part.id in before and not is_done(known, part) for part in parts)
        undated = any(is_done(known, part) and finished(known, part) is None for part in parts)
        begun = since(known, row.quantity, task)
        if begun is not None and not undated:
            found.append(begun + timedelta(hours=hours))
        elif undated or (row.needed and not ahead):
            found.append(known.now + timedelta(hours=hours))
    if not found:
        return task
    return replace(task, not_before=max([*found, task.not_before or found[0]]))
