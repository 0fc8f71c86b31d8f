"""Whether it is a task's turn: what it waits for in the job comes before any weather.

A task whose predecessor is not done is not called go however fine the day; the verdict of its
hours is still told.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from scheduler.planning.calls.now import has_own_time
from scheduler.planning.model.answer import Call, Outcome, TaskAnswer
from scheduler.planning.model.job import Job, Link, LinkKind, State
from scheduler.planning.model.log import Progress
from scheduler.planning.model.standing import Standing, standings

STARTS_WORK = frozenset({Call.GO, Call.GO_WITH_PROTECTION, Call.PREPARE, Call.WAIT})


def in_turn(
    job: Job, progress: Progress, answers: tuple[TaskAnswer, ...], now: datetime
) -> tuple[TaskAnswer, ...]:
    """Return the answers with those that must wait for other tasks called wait."""
    standing = standings(job, progress, now=now)
    return tuple(_one(job, standing, answer) for answer in answers)


def _one(job: Job, standing: Mapping[str, Standing], answer: TaskAnswer) -> TaskAnswer:
    task = job.task(answer.task)
    if standing[task.id].state is not State.TO_DO or answer.call not in STARTS_WORK:
        return answer
    if has_own_time(task):
        return answer  # judged against what comes before it by its own hours
    names = {other.id: other.name for other in job.tasks}
    open_ = tuple(link.task for link in task.after if not _happened(standing, link))
    if not open_:
        return answer
    dated = answer.outcome is not Outcome.NOT_KNOWN  # else its hours lie past what is known
    return replace(
        answer,
        call=Call.WAIT,
        window=answer.window if dated else None,
        next_window=answer.next_window if dated else None,
        reason=f"after {', '.join(names[name] for name in open_)}",
        waits_for=open_,
        tell=(),
        decide_by=answer.decide_by if task.appointment is not None else (),
    )


def _happened(standing: Mapping[str, Standing], link: Link) -> bool:
    before = standing[link.task].state
    if link.kind is LinkKind.START_START:
        return before is not State.TO_DO
    return before is State.DONE
