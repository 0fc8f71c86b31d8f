"""One task's verdict, limit by limit: the rule behind each, its value, the hours looked at."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from rules.book import Book
from rules.explain import walk
from rules.page import Line, line
from rules.verdict import KEYS, Verdict, VerdictArray
from rules.weather import Weather
from scheduler.planning.evidence.facts import asked_of
from scheduler.planning.evidence.observed_then_forecast import hour_of, last_hour, moment_of
from scheduler.planning.model.answer import LimitLine, Outcome, TaskAnswer
from scheduler.planning.model.frame import frame_of
from scheduler.planning.model.job import Job, Task
from scheduler.planning.model.log import Progress
from scheduler.planning.tables.hours import HourlyTable


@dataclass(frozen=True, slots=True)
class HourValue:
    """The value in one hour, and what the row makes of it; None where hours count together."""

    at: datetime  # UTC
    value: float | None  # in the row's unit; None: not known
    outcome: Outcome | None


@dataclass(frozen=True, slots=True)
class Traced:
    """One limit of the answer with the row of the book behind it."""

    limit: LimitLine
    row: Line | None  # None: a document or the job itself asks
    hours: tuple[HourValue, ...]


def trace(
    job: Job, task: Task, answer: TaskAnswer, table: HourlyTable, progress: Progress, book: Book
) -> tuple[Traced, ...]:
    """Return every limit of an answer, as it stands in it, with its row and its hours.

    Parameters
    ----------
    job, task, answer
        The answer that is to be traced.
    table : HourlyTable
        The newest forecast; hours before it were judged on what was observed, and are not shown.
    progress, book
        The log and the job's rule book.
    """
    # a row set for this job stands among those of the work, and goes before the book's own
    rows = {row.id: row for row in (*book.rows, *book.rows_for(task.work_type))}
    hours = _hours(job, task, answer, table, progress, book)
    return tuple(
        Traced(
            limit,
            line(rows[limit.rule]) if limit.rule in rows else None,
            hours.get(limit.rule, ()),
        )
        for limit in answer.limits
    )


def _hours(
    job: Job,
    task: Task,
    answer: TaskAnswer,
    table: HourlyTable,
    progress: Progress,
    book: Book,
) -> dict[str, tuple[HourValue, ...]]:
    """Return the values by hour of each row that reads weather, in the answer's own window."""
    span = answer.window
    if span is None or span.start is None or span.end is None or table.hours == 0:
        return {}
    zero = int(table.start[0].astype(np.int64))
    first, last = hour_of(span.start) - zero, last_hour(span.end) - zero
    if last <= 0 or first >= table.hours:
        return {}
    weather = Weather(dict(table.columns), table.hours)
    found = {}
    start = max(first, 0)
    frame = frame_of(job, progress, hour_zero=moment_of(zero), hours=table.hours, now_hour=start)
    for step in walk(book, asked_of(frame, task), weather, start, last):
        found[step.reason.row.id] = tuple(
            HourValue(
                moment_of(zero + step.first + number),
                float(value) if np.isfinite(value) else None,
                _outcome(step.outcomes, number),
            )
            for number, value in enumerate(np.atleast_1d(step.values))
        )
    return found


def _outcome(outcomes: VerdictArray, number: int) -> Outcome | None:
    return Outcome(KEYS[Verdict(int(outcomes[number]))]) if outcomes.size else None
