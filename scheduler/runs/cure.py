"""Protections of one task's fresh work compared, as of a moment: gather, compare, keep."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from rules.errors import BadInput
from rules.films import covers
from scheduler.planning.answer import TaskAnswer
from scheduler.planning.calendars import moment_of
from scheduler.planning.cure import compare
from scheduler.planning.cure_answer import CureAnswer
from scheduler.planning.done_work import joined
from scheduler.planning.fresh_work import fresh_work
from scheduler.planning.gates import MEMBERS
from scheduler.planning.hours import HourlyTable
from scheduler.planning.job import Job, Task
from scheduler.planning.job_book import job_book
from scheduler.planning.logged_breaks import own_mixes
from scheduler.planning.plan_job import Planned, planned_hours, season_end
from scheduler.planning.problem import Frame, frame_of
from scheduler.planning.scenarios import Scenarios, scenarios
from scheduler.planning.standing import standings
from scheduler.runs.desk import Desk, Gathered, gather, keep
from scheduler.runs.plan import planned_of, with_climate
from scheduler.runs.today import Today, today_of

AHEAD_H: Final = 24 * 10  # of planned work that is shown; common practice, no source
HISTORY_H: Final = 24 * 14  # hours of observed weather that still tell in an element


def cure(
    desk: Desk, task_id: str, *, finish: datetime | None = None
) -> tuple[CureAnswer, Gathered]:
    """Return the comparison and what it was made from; the weather read is kept.

    Parameters
    ----------
    desk : Desk
        The edges of the run.
    task_id
        A task that places grout or concrete.
    finish : datetime, optional
        When the work is in place, UTC; else as logged, asked for in the job file, or planned.

    Raises
    ------
    BadInput
        If there is no such task, it places nothing that can freeze, or nobody knows its finish.
    CloseinError
        If the weather cannot be had or read.
    """
    task = _task(desk.job, task_id)
    gathered, climate = with_climate(desk, gather(desk, command="cure", options={"task": task_id}))
    book = job_book(desk.job)
    zero, hours = planned_hours(desk.job, desk.now)
    frame = frame_of(desk.job, gathered.progress, hour_zero=zero, hours=hours, now_hour=0)
    traces = scenarios(
        forecast=gathered.forecast.table,
        climate=climate,
        now=zero,
        until=season_end(desk.job, desk.now),
        seed=desk.seed,
        count=min(MEMBERS, desk.scenarios) if climate is not None else 1,
        longitude_deg=desk.job.site.longitude_deg,
    )
    at = finish or _said(desk, gathered, task)
    if at is None:
        planned = planned_of(desk, gathered, climate, book)
        placed = {row.id: row.finish for row in planned.plan.placed}
        if task_id not in placed:
            raise BadInput(f"the plan has no finish for {task_id!r}; say one with --finish TIME")
        at = moment_of(planned.frame.hour_zero, placed[task_id])
    answers = {one.task: one for one in today_of(gathered, book).answers}
    found = _compared(gathered, task, at, traces, frame, answers.get(task_id))
    if found is None:  # ruled out by _task
        raise BadInput(f"task {task_id!r} places nothing that can freeze")
    keep(desk, gathered)
    return found, gathered


def cures(today: Today, planned: Planned) -> tuple[CureAnswer, ...]:
    """Return the comparison of each piece of fresh work that a morning is about.

    That is work finished in the last ``HISTORY_H`` hours, and work planned in the next
    ``AHEAD_H``: where the forecast ends, in the weather of past years.
    """
    gathered, frame = today.gathered, planned.frame
    answers = {one.task: one for one in today.answers}
    ends = {line.id: line.finish for line in planned.answer.tasks}
    logged = standings(gathered.job, gathered.progress, now=gathered.now)
    until = gathered.now + timedelta(hours=AHEAD_H)
    since = gathered.now - timedelta(hours=HISTORY_H)
    found = []
    for task in gathered.job.tasks:
        at = logged[task.id].finished or ends.get(task.id)
        if fresh_work(task) is None or at is None or not since <= at <= until:
            continue
        one = _compared(gathered, task, at, planned.weather, frame, answers.get(task.id))
        if one is not None:
            found.append(one)
    return tuple(found)


def _compared(
    gathered: Gathered,
    task: Task,
    at: datetime,
    traces: Scenarios,
    frame: Frame,
    answer: TaskAnswer | None,
) -> CureAnswer | None:
    weather, _ = joined(_history(gathered), traces.table)
    found = compare(
        gathered.job,
        task,
        weather=weather,
        finish=at,
        now=gathered.now,
        protect_until=_protect_until(answer, at),
        work=own_mixes(frame).works.get(task.id),
    )
    return None if found is None else replace(found, years=traces.years)


def _task(job: Job, task_id: str) -> Task:
    known = {task.id: task for task in job.tasks}
    if task_id not in known:
        raise BadInput(f"the job has no task {task_id!r}; it has {', '.join(known)}")
    if fresh_work(known[task_id]) is None:
        judged = ", ".join(one.id for one in job.tasks if fresh_work(one) is not None)
        raise BadInput(
            f"task {task_id!r} places no grout or concrete; these do: {judged or 'none'}"
        )
    return known[task_id]


def _said(desk: Desk, gathered: Gathered, task: Task) -> datetime | None:
    """Return the finish that log or job file say."""
    logged = standings(desk.job, gathered.progress, now=desk.now)[task.id].finished
    if logged is not None or task.until is not None:
        return logged or task.until
    booked = task.booked or task.offered
    return None if booked is None else booked + timedelta(hours=task.duration_h)


def _protect_until(answer: TaskAnswer | None, finish: datetime) -> datetime | None:
    """Return the book's end of protection, counted from this finish; None where it asks none."""
    if answer is None or answer.window is None:
        return None
    words = {cover.measure for cover in covers().values()}
    ends = [line.end for line in answer.measures if line.measure in words and line.end is not None]
    after = max((end - answer.window.end for end in ends), default=timedelta(0))
    return finish + after if after > timedelta(0) else None


def _history(gathered: Gathered) -> HourlyTable | None:
    """Return observed weather, else what the forecast said of the hours that are past."""
    told = gathered.observed.table if gathered.observed is not None else gathered.forecast.table
    zero = np.datetime64(int(gathered.now.timestamp() // 3600), "h")
    keep_from = int(np.searchsorted(told.start, zero - np.timedelta64(HISTORY_H, "h")))
    until = int(np.searchsorted(told.start, zero, side="right"))
    if until <= keep_from:
        return None
    cut = slice(keep_from, until)
    columns = {name: np.atleast_2d(v)[0, cut] for name, v in told.columns.items()}
    return replace(told, start=told.start[cut], columns=columns)
