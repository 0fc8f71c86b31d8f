"""Whether it is a task's turn: what it waits for in the job comes before any weather.

A task whose predecessor is not done, or whose wait after it is not over, is not called go however
fine the day; the verdict of its hours is still told.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from rules.kinds import Form, kind_of
from scheduler.planning.answer import Call, Outcome, Span, TaskAnswer, TellLine
from scheduler.planning.job import Job, Link, LinkKind, State, Task
from scheduler.planning.log import Progress
from scheduler.planning.standing import Standing, standings

STARTS_WORK = frozenset({Call.GO, Call.GO_WITH_PROTECTION, Call.PREPARE, Call.WAIT})


def in_turn(
    job: Job, progress: Progress, answers: tuple[TaskAnswer, ...], now: datetime
) -> tuple[TaskAnswer, ...]:
    """Return the answers with those that must wait for other tasks called wait."""
    standing = standings(job, progress, now=now)
    return tuple(_one(job, standing, answer, now) for answer in answers)


def _one(
    job: Job, standing: Mapping[str, Standing], answer: TaskAnswer, now: datetime
) -> TaskAnswer:
    task = job.task(answer.task)
    if standing[task.id].state is not State.TO_DO or answer.call not in STARTS_WORK:
        return answer
    missed = _missed(job, task, now)
    if missed is not None:
        return _to_be_agreed_again(job, task, answer, missed, now)
    if _has_own_time(task):
        return answer  # judged against what comes before it by its own hours
    names = {other.id: other.name for other in job.tasks}
    open_ = tuple(link.task for link in task.after if not _happened(standing, link))
    if open_:
        return replace(
            answer,
            call=Call.WAIT,
            reason=f"after {', '.join(names[name] for name in open_)}",
            waits_for=open_,
            tell=(),
            decide_by=answer.decide_by if task.appointment is not None else (),
        )
    begin = _waits_over(standing, task)
    start = answer.window.start if answer.window is not None else now
    if begin is None or begin <= start:
        return answer
    return replace(
        answer,
        call=Call.WAIT,
        reason=f"its wait after {names[task.after[0].task]} is not over",
        next_window=_not_before(answer, begin),
        tell=(),
    )


def _has_own_time(task: Task) -> bool:
    """Tell whether somebody booked, offered or asked for hours of the task."""
    return bool(task.booked or task.offered or task.slots or task.days or task.appointment)


def _missed(job: Job, task: Task, now: datetime) -> datetime | None:
    """Return the last of the times agreed or offered for work not begun, where all are over."""
    if kind_of(task.work_type).form is not Form.WORK or task.started_at is not None:
        return None
    visit = task.appointment
    starts = [s for s in (task.booked, task.offered, *task.slots) if s is not None]
    starts += [] if visit is None else [visit.start, *visit.slots]
    zone = ZoneInfo(job.site.time_zone)
    ends = [start + timedelta(hours=task.duration_h) for start in starts]
    ends += [datetime.combine(day + timedelta(days=1), time(), zone) for day in task.days]
    ends += [] if task.until is None else [task.until]
    if (not starts and not task.days) or max(ends) > now:
        return None
    return max(starts, default=max(ends) - timedelta(days=1))


def _to_be_agreed_again(
    job: Job, task: Task, answer: TaskAnswer, missed: datetime, now: datetime
) -> TaskAnswer:
    """Return the answer for work whose time has passed: hours of the past are never a go."""
    coming = answer.next_window
    at = missed.astimezone(ZoneInfo(job.site.time_zone))
    who = "crew" if task.appointment is None else task.appointment.who
    return replace(
        answer,
        call=Call.WAIT,
        outcome=Outcome.NOT_KNOWN,
        window=None,
        measures=(),
        next_window=coming if coming is not None and coming.start >= now else None,
        reason=f"its time of {at:%a %-d %b %H:%M} has passed; agree on another",
        tell=(TellLine(who, "the time agreed has passed: agree on another", now),),
        decide_by=(),
    )


def _happened(standing: Mapping[str, Standing], link: Link) -> bool:
    before = standing[link.task].state
    if link.kind is LinkKind.START_START:
        return before is not State.TO_DO
    return before is State.DONE


def _waits_over(standing: Mapping[str, Standing], task: Task) -> datetime | None:
    """Return when the last elapsed wait ends, gates' least waits too; None without any."""
    ends = []
    for link in task.after:
        told = standing[link.task]
        since = told.started if link.kind is LinkKind.START_START else told.finished
        wait_h = max(link.wait_h, link.gate.wait_h if link.gate is not None else 0.0)
        if since is not None and wait_h > 0.0:
            ends.append(since + timedelta(hours=wait_h))
    return max(ends, default=None)


def _not_before(answer: TaskAnswer, begin: datetime) -> Span | None:
    found = answer.next_window
    return found if found is not None and found.start >= begin else None
