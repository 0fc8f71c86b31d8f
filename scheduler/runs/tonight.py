"""The safe-leave list: what is done before tonight and before the days off."""

from __future__ import annotations

from dataclasses import dataclass

from rules.book import Book
from scheduler.planning.evidence.known import known
from scheduler.planning.model.daylight import sun_at
from scheduler.planning.model.free_time import coming
from scheduler.planning.model.job_book import job_book
from scheduler.planning.reports.leaving import Leave, leave_list
from scheduler.runs.desk import Desk, Gathered, gather, keep
from scheduler.runs.today import Today, today_of


@dataclass(frozen=True, slots=True)
class Tonight:
    """The lists, and what they were made from."""

    leaves: tuple[Leave, ...]
    gathered: Gathered


def tonight(desk: Desk) -> Tonight:
    """Return the lists for tonight and for the next days off; the weather read is kept.

    Raises
    ------
    CloseinError
        If the weather cannot be had or read.
    """
    gathered = gather(desk, command="tonight")
    book = job_book(desk.job)
    found = Tonight(leaves_of(today_of(gathered, book), book), gathered)
    keep(desk, gathered)
    return found


def leaves_of(today: Today, book: Book) -> tuple[Leave, ...]:
    """Return the lists that go with a morning's answers."""
    gathered = today.gathered
    seen = known(
        gathered.job,
        gathered.forecast,
        gathered.observed,
        gathered.progress,
        gathered.now,
        previous=gathered.earlier,
        sun=sun_at(gathered.job.site),
    )
    return tuple(
        leave_list(seen, away, book=book, answers=today.answers)
        for away in coming(gathered.job, gathered.now)
    )
