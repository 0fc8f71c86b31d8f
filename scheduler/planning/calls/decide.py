"""What a person does now about each task, and why: the one function that the commands call.

``decide`` is pure: it looks at a job, the weather as it was told, the log up to a moment and the
rule book, and returns one answer a task. Nothing later than ``now`` is looked at.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from graphlib import TopologicalSorter
from typing import Final

from rules.book import Book
from rules.kinds import Form, kind_of
from scheduler.planning.calls.commitments import is_kept
from scheduler.planning.calls.judging import rows_of
from scheduler.planning.calls.now import in_turn
from scheduler.planning.calls.task_answer import answer_for, trimmed
from scheduler.planning.contract.weather_day_claim import claim
from scheduler.planning.evidence.book_waits import with_book_waits
from scheduler.planning.evidence.deadlines import said_passed
from scheduler.planning.evidence.known import Known, Sun, known
from scheduler.planning.evidence.shifts import finish_of
from scheduler.planning.model.answer import Call, Span, TaskAnswer
from scheduler.planning.model.job import Job, Task
from scheduler.planning.model.log import Progress
from scheduler.planning.rulings.chances import with_site_record
from scheduler.planning.strength.strength_now import with_strength
from scheduler.planning.tables.hours import Forecast


def decide(  # noqa: PLR0913  # the one way in: everything known is named
    job: Job,
    forecast: Forecast | None,
    observed: Forecast | None,
    progress: Progress,
    book: Book,
    now: datetime,
    *,
    previous: Sequence[Forecast] = (),
    sun: Sun | None = None,
    earliest: Mapping[str, datetime] | None = None,
) -> tuple[TaskAnswer, ...]:
    """Return the answer for each task that is still to do or still to be kept.

    Parameters
    ----------
    job : Job
        The job as planning sees it.
    forecast, previous : Forecast
        The newest forecast, and those read before it, oldest first. Where they come from several
        sources the graver side is planned on.
    observed : Forecast or None
        What was measured at the place.
    progress : Progress
        The log; entries later than ``now`` are left out.
    book : Book
        The rule book of the job's edition, overrides in it.
    now : datetime
        The moment of asking, UTC.
    sun : callable, optional
        Sunrise and sunset of a local day; what the job states goes first.
    earliest : mapping, optional
        The earliest start of a task by id, as a plan with its strength gates gives it; links and
        dates of the job file are looked at in any case.
    """
    job = with_book_waits(job, book, progress, now)
    told = known(
        job, forecast, observed, progress, now, previous=previous, sun=sun, earliest=earliest
    )
    seen = with_site_record(with_strength(told, progress))
    made: dict[str, TaskAnswer] = {}
    for task in in_order(job.tasks):
        answer = _answer(seen, task, book)
        if answer is not None:
            made[task.id] = answer
            seen.decided.update(_decided(seen, task, answer))
    answers = [made[task.id] for task in job.tasks if task.id in made]
    return said_passed(in_turn(job, progress, trimmed(answers), now), now)


def _decided(seen: Known, task: Task, answer: TaskAnswer) -> dict[str, Span | None]:
    """Return when an open task can be under way by its answer; nothing of what is not started."""
    form = kind_of(task.work_type).form
    if form not in {Form.WORK, Form.REMOVAL} or is_kept(seen, task):
        return {}
    found = answer.next_window or (answer.window if answer.call in GOES else None)
    return {task.id: found and Span(found.start, finish_of(seen, task, found.start))}


GOES: Final = frozenset({Call.GO, Call.GO_WITH_PROTECTION})


def in_order(tasks: Sequence[Task]) -> list[Task]:
    """Return tasks behind those they come after."""
    links = {task.id: {link.task for link in task.after} for task in tasks}
    by_id = {task.id: task for task in tasks}
    return [by_id[name] for name in TopologicalSorter(links).static_order() if name in by_id]


def _answer(seen: Known, task: Task, book: Book) -> TaskAnswer | None:
    form = kind_of(task.work_type).form
    if form is Form.PAPER:
        return claim(seen, task)
    done = is_kept(seen, task)
    return answer_for(seen, task, rows_of(seen, book, task, done=done), book, done=done)
