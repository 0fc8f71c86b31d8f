"""The calls of a morning: gather, decide, keep the answer with what it was made from."""

from __future__ import annotations

from dataclasses import dataclass, replace

from rules.book import Book
from scheduler.planning.calls.decide import decide
from scheduler.planning.model.answer import Call, TaskAnswer
from scheduler.planning.model.daylight import sun_at
from scheduler.planning.model.frame import is_stale
from scheduler.planning.model.job_book import job_book
from scheduler.planning.reports.close_in_line import CloseInLine, line_of, line_of_kept
from scheduler.runs.desk import Desk, Gathered, gather, keep, plan_told
from scheduler.runs.plan import planned_of, with_climate


@dataclass(frozen=True, slots=True)
class Today:
    """Answers as of a moment, and how old the forecast behind them is."""

    answers: tuple[TaskAnswer, ...]
    gathered: Gathered
    stale: bool
    close_in: CloseInLine | None = None  # as planned now where past years are given, else as kept

    @property
    def nothing_can_go(self) -> bool:
        """Tell whether no task at all may go, with or without protection."""
        return not any(a.call in {Call.GO, Call.GO_WITH_PROTECTION} for a in self.answers)


def today(desk: Desk) -> Today:
    """Return the calls for today and the coming days; the weather read is kept.

    The close-in date beside them is planned now where past years are given, else it is that of
    the plan that was kept last.

    Raises
    ------
    CloseinError
        If the weather cannot be had or read.
    """
    gathered = gather(desk, command="today")
    book = job_book(desk.job)
    line: CloseInLine | None = None
    if desk.climate() is not None:
        gathered, climate = with_climate(desk, gathered)
        line = line_of(planned_of(desk, gathered, climate, book).answer)
    elif (last := plan_told(desk)) is not None:
        line = line_of_kept(last.answer)
    found = replace(today_of(gathered, book), close_in=line)
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
