"""One task's verdict, limit by limit: the rule behind each, its value, the hours looked at."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from rules.book import Book, Row
from rules.explain import walk
from rules.judge import Asked
from rules.page import Line, line
from rules.verdict import KEYS, Verdict
from rules.weather import Weather
from scheduler.planning.answer import LimitLine, TaskAnswer
from scheduler.planning.hours import HourlyTable
from scheduler.planning.job import Job, Task
from scheduler.planning.known_facts import KnownFacts
from scheduler.planning.log import Progress


@dataclass(frozen=True, slots=True)
class HourValue:
    """The value in one hour, and what the row makes of it; None where hours count together."""

    at: datetime  # UTC
    value: float | None  # in the row's unit; None: not known
    outcome: str | None


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
        The hours that the answer was made on: what was observed, then the newest forecast.
    progress, book
        The log and the job's rule book.
    """
    rows = {row.id: row for row in book.rows_for(task.work_type)}
    rows |= {row.id: row for row in book.rows if row.id not in rows}
    hours = _hours(job, task, answer, table, progress, book)
    return tuple(
        Traced(
            limit,
            line(rows[limit.rule]) if limit.rule in rows else None,
            hours.get(limit.rule, ()) if _reads_weather(rows.get(limit.rule)) else (),
        )
        for limit in answer.limits
    )


def _reads_weather(row: Row | None) -> bool:
    return row is not None and bool(row.quantity)


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
    first = _hour(span.start) - int(table.start[0].astype(np.int64))
    last = _hour(span.end - timedelta(microseconds=1)) + 1 - int(table.start[0].astype(np.int64))
    if last <= 0 or first >= table.hours:
        return {}
    had = frozenset(job.on_hand) | {offer.measure for offer in job.can_be_had}
    asked = Asked(task.work_type, KnownFacts(task, progress), had)
    weather = Weather(dict(table.columns), table.hours)
    found = {}
    for step in walk(book, asked, weather, max(first, 0), last):
        begin = int(table.start[0].astype(np.int64)) + step.first
        found[step.reason.row.id] = tuple(
            HourValue(
                _moment(begin + number),
                float(value) if np.isfinite(value) else None,
                KEYS[Verdict(int(step.outcomes[number]))] if step.outcomes.size else None,
            )
            for number, value in enumerate(np.atleast_1d(step.values))
        )
    return found


def _hour(moment: datetime) -> int:
    return int(moment.timestamp() // 3600)


def _moment(hour: int) -> datetime:
    return datetime.fromtimestamp(hour * 3600, UTC)
