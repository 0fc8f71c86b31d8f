"""What a person does now about each task, and why: the one function that the commands call.

``decide`` is pure: it looks at a job, the weather as it was told, the log up to a moment and the
rule book, and returns one answer a task. Nothing later than ``now`` is looked at.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from rules.book import Book
from rules.kinds import Form, kind_of
from scheduler.planning.answer import TaskAnswer
from scheduler.planning.decide_answer import answer_for, trimmed
from scheduler.planning.decide_claim import claim
from scheduler.planning.decide_commitments import is_kept
from scheduler.planning.decide_deadlines import said_passed
from scheduler.planning.decide_judging import rows_of
from scheduler.planning.decide_known import Known, Sun, known
from scheduler.planning.decide_odds import with_site_record
from scheduler.planning.decide_turn import in_turn
from scheduler.planning.hours import Forecast
from scheduler.planning.job import Job, Task
from scheduler.planning.log import Progress


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
    seen = with_site_record(
        known(
            job, forecast, observed, progress, now, previous=previous, sun=sun, earliest=earliest
        )
    )
    answers = [a for task in job.tasks if (a := _answer(seen, task, book)) is not None]
    return said_passed(in_turn(job, progress, trimmed(answers), now), now)


def _answer(seen: Known, task: Task, book: Book) -> TaskAnswer | None:
    form = kind_of(task.work_type).form
    if form is Form.PAPER:
        return claim(seen, task)
    done = is_kept(seen, task)
    return answer_for(seen, task, rows_of(seen, book, task, done=done), book, done=done)
