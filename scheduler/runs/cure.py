"""Protections of one task's fresh work compared, as of a moment: gather, compare, keep."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from rules.errors import BadInput, WeatherUnavailable
from rules.films import covers
from scheduler.planning.forecast.past_hours import bridged
from scheduler.planning.forecast.scenarios import Scenarios, scenarios
from scheduler.planning.model.answer import TaskAnswer
from scheduler.planning.model.calendars import moment_of
from scheduler.planning.model.frame import Frame, frame_of, planned_hours, season_end
from scheduler.planning.model.job import Job, Task
from scheduler.planning.model.job_book import job_book
from scheduler.planning.model.standing import standings
from scheduler.planning.plan.planned import Planned
from scheduler.planning.strength.cure import compare
from scheduler.planning.strength.cure_answer import CureAnswer
from scheduler.planning.strength.done_work import joined
from scheduler.planning.strength.fresh_work import fresh_work, hour_of
from scheduler.planning.strength.gates import MEMBERS
from scheduler.planning.strength.logged_breaks import own_mixes
from scheduler.planning.tables.hours import HourlyTable
from scheduler.runs.desk import Desk, Gathered, gather, keep
from scheduler.runs.plan import planned_of, with_climate
from scheduler.runs.today import Today, today_of

AHEAD_H: Final = 24 * 10  # of planned work that is shown; common practice, no source
NOT_KNOWN: Final = "not known: no observed hours reach back to when it was placed"
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
    if found is None:  # what places nothing is ruled out by _task
        raise WeatherUnavailable(f"{task_id}: {NOT_KNOWN}; give them with --observed FILE")
    keep(desk, gathered)
    return found, gathered


@dataclass(frozen=True, slots=True)
class Unfollowed:
    """Fresh work that cannot be followed: nobody knows the weather since it was placed."""

    task: Task
    finish: datetime


def cures(today: Today, planned: Planned) -> tuple[CureAnswer | Unfollowed, ...]:
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
    found: list[CureAnswer | Unfollowed] = []
    for task in gathered.job.tasks:
        at = logged[task.id].finished or ends.get(task.id)
        if fresh_work(task) is None or at is None or not since <= at <= until:
            continue
        one = _compared(gathered, task, at, planned.weather, frame, answers.get(task.id))
        found.append(one or Unfollowed(task, at))
    return tuple(found)


def _compared(
    gathered: Gathered,
    task: Task,
    at: datetime,
    traces: Scenarios,
    frame: Frame,
    answer: TaskAnswer | None,
) -> CureAnswer | None:
    """Compare protections; None where the weather at the work's finish is not known."""
    weather, _ = joined(_history(gathered, at), traces.table)
    hour = hour_of(weather, at)
    air = np.atleast_2d(weather.column("air_temperature_c"))
    if not 0 <= hour < weather.hours or np.isnan(air[:, hour]).all():
        return None
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


def _history(gathered: Gathered, since: datetime) -> HourlyTable | None:
    """Return observed weather from a moment on, its short holes as they had been forecast."""
    observed = None if gathered.observed is None else gathered.observed.table
    told = bridged(observed, (*gathered.earlier, gathered.forecast), moment=gathered.now)
    keep = told.start.astype(np.int64) >= int(since.timestamp() // 3600)
    if not keep.any():
        return None
    return HourlyTable(told.start[keep], {name: v[keep] for name, v in told.columns.items()})
