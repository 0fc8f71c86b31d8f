"""Holds of the book's rows on what was found on site and stays until somebody releases it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

from rules.book import Book
from rules.book_rows import Band, Row
from rules.conditions import fixed_conditions
from rules.facts import Asked, Stated, band_of, counts, stated
from rules.grading import is_on_site
from rules.verdict import Verdict
from scheduler.planning.evidence.facts import asked_of
from scheduler.planning.model.answer import HoldLine
from scheduler.planning.model.frame import Frame
from scheduler.planning.model.job import Task
from scheduler.planning.model.log import release_of
from scheduler.planning.plan.plan_answer import PlanAnswer

HOUR: Final = timedelta(hours=1)


def with_book_holds(answer: PlanAnswer, frame: Frame, book: Book) -> PlanAnswer:
    """Return a plan whose lines name what the calls of its morning hold their tasks for.

    A crib that sank is planned from the hour its row lets go of, as a job's own hold is: as if
    it were released. Whoever reads the plan is told by whom.
    """
    found = {task.id: tuple(_holds(frame, book, task)) for task in frame.open_tasks}
    lines = (replace(ln, holds=(*ln.holds, *found.get(ln.id, ()))) for ln in answer.tasks)
    return replace(answer, tasks=tuple(lines))


def _holds(frame: Frame, book: Book, task: Task) -> Iterator[HoldLine]:
    asked = asked_of(frame, task)
    for row in book.rows_for(task.work_type):
        if not is_on_site(row) or fixed_conditions(row, asked) is False:
            continue
        for one, band in _gravest(row, asked):
            entries = [e for e in frame.progress.entries if _hour(frame, e.at) >= (one.at or 0.0)]
            for hold in (*band.holds, *row.holds):
                if release_of(entries, task.id, hold.by) is None:
                    yield from (HoldLine(role, hold.needs, row.id) for role in hold.by)


def _gravest(row: Row, asked: Asked) -> list[tuple[Stated, Band]]:
    """Return the gravest word that stays and refuses, with its band; nothing where none does.

    A look that the row wants and nobody tells of now (the cut, each day) is one too.
    """
    now = float(asked.now)
    known = stated(row.quantity, asked.facts, now)
    told = [one for one in known if one.stays]
    if row.unsaid is not None and not any(counts(one, row.reading_age_h, now) for one in known):
        told = [*told, Stated(row.unsaid)]
    judged = [(one, band_of(one.value, row.bands, row.unit)) for one in told]
    bad = [(one, b) for one, b in judged if b is not None and b.outcome >= Verdict.NO_GO]
    return sorted(bad, key=lambda pair: pair[1].outcome)[-1:]


def _hour(frame: Frame, moment: datetime) -> float:
    return (moment - frame.hour_zero) / HOUR
