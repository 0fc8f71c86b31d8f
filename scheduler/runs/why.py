"""Why one task has its verdict: the morning's answer, each limit traced to its row and hours."""

from __future__ import annotations

from dataclasses import dataclass

from rules.errors import BadInput
from rules.words import meant
from scheduler.planning.model.answer import TaskAnswer
from scheduler.planning.model.job_book import job_book
from scheduler.planning.reports.traced import Traced, trace
from scheduler.runs.desk import Desk, gather, keep
from scheduler.runs.today import today_of


@dataclass(frozen=True, slots=True)
class Why:
    """An answer and its limits, traced."""

    answer: TaskAnswer
    limits: tuple[Traced, ...]


def why(desk: Desk, task_id: str) -> Why:
    """Return the answer about one task with every limit traced; the weather read is kept.

    Raises
    ------
    BadInput
        If the job has no such task, or it is done and nothing of it is still to be kept.
    CloseinError
        If the weather cannot be had or read.
    """
    known = [task.id for task in desk.job.tasks]
    if task_id not in known:
        raise BadInput(f"no task {task_id!r}; {meant(task_id, known)}")
    gathered = gather(desk, command="rules", options={"why": task_id})
    book = job_book(desk.job)
    answers = {answer.task: answer for answer in today_of(gathered, book).answers}
    if task_id not in answers:
        raise BadInput(f"{task_id} is done and nothing of it is still to be kept")
    keep(desk, gathered)
    answer = answers[task_id]
    traced = trace(
        desk.job,
        desk.job.task(task_id),
        answer,
        gathered.forecast.table,
        gathered.progress,
        book,
    )
    return Why(answer, traced)
