"""The calls of a morning: gather, decide, keep the answer with what it was made from."""

from __future__ import annotations

from dataclasses import dataclass

from rules.book import Book
from scheduler.planning.answer import Call, TaskAnswer
from scheduler.planning.daylight import sun_at
from scheduler.planning.decide import decide
from scheduler.planning.job_book import job_book
from scheduler.planning.plan_job import is_stale
from scheduler.runs.desk import Desk, Gathered, gather, keep


@dataclass(frozen=True, slots=True)
class Today:
    """Answers as of a moment, and how old the forecast behind them is."""

    answers: tuple[TaskAnswer, ...]
    gathered: Gathered
    stale: bool

    @property
    def nothing_can_go(self) -> bool:
        """Tell whether no task at all may go, with or without protection."""
        return not any(a.call in {Call.GO, Call.GO_WITH_PROTECTION} for a in self.answers)


def today(desk: Desk) -> Today:
    """Return the calls for today and the coming days; the weather read is kept.

    Raises
    ------
    CloseinError
        If the weather cannot be had or read.
    """
    gathered = gather(desk, command="today")
    book = job_book(desk.job)
    found = today_of(gathered, book)
    keep(desk, gathered)
    return found


def today_of(gathered: Gathered, book: Book) -> Today:
    """Decide what was gathered."""
    job = gathered.job
    answers = decide(
        job,
        gathered.forecast,
        gathered.observed,
        gathered.progress,
        book,
        gathered.now,
        previous=gathered.earlier,
        sun=sun_at(job.site),
    )
    return Today(answers, gathered, stale=is_stale(gathered.forecast, gathered.now))
