"""From a job, its log and its tables to the problem that is planned.

Done tasks leave the problem; what they bind becomes the first and last hours of their
successors. A task under way stays with the hours it has left.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from scheduler.planning.model.calendars import (
    days_mask,
    hours_from,
    local_day_numbers,
    moment_of,
    shift_mask,
)
from scheduler.planning.model.deliveries import delivered_from
from scheduler.planning.model.frame import Frame, effort_of, frame_of, is_past, shift_of
from scheduler.planning.model.job import Job, Link, LinkKind, State, Task
from scheduler.planning.model.log import Progress
from scheduler.planning.schedule.network import Booking, Problem, Rent, Tie, Work
from scheduler.planning.tables.finish import (
    NEVER,
    BoolArray,
    IntArray,
    finish_table,
    ready_after,
    ready_after_shifts,
    whole_hours,
)
from scheduler.planning.tables.own_gates import LinkKey


@dataclass(frozen=True, slots=True)
class Tables:
    """What weather and strength say, on the hours that are planned."""

    workable: Mapping[str, BoolArray]  # by task: (hours,) verdict allows, daylight where asked
    ready: Mapping[LinkKey, IntArray]  # by gate: (hours + 1,), or () where the pred is done
    may_start: Mapping[str, BoolArray] = field(default_factory=dict)  # (hours,)
    cost: Mapping[str, IntArray] = field(default_factory=dict)  # (hours,) protection, money


def build_problem(
    job: Job,
    progress: Progress,
    *,
    hour_zero: datetime,
    hours: int,
    tables: Tables,
    now_hour: int,
) -> Problem:
    """Return what is left to plan.

    Parameters
    ----------
    job, progress : Job, Progress
        What was planned, and what happened.
    hour_zero : datetime
        Beginning of hour 0, UTC.
    hours : int
        How many hours are planned on.
    tables : Tables
        What weather and strength say for each task and gate still open.
    now_hour : int
        First hour that can still be planned.

    Raises
    ------
    KeyError
        If a task or gate has no table: nothing is taken as fit unsaid.
    """
    frame = frame_of(job, progress, hour_zero=hour_zero, hours=hours, now_hour=now_hour)
    crews = {crew.id: crew.size for crew in job.crews}
    pairs = _apart(frame)
    crews |= dict.fromkeys(sorted({name for names in pairs.values() for name in names}), 1)
    zone = job.site.time_zone
    return Problem(
        hours=hours,
        tasks=tuple(_work(frame, task, tables, pairs[task.id]) for task in frame.open_tasks),
        ties=tuple(
            _tie(frame, task, link, tables)
            for task in _waiting(frame)
            for link in task.after
            if not is_past(frame, link)
        ),
        crews=crews,
        rents=_rents(frame),
        days=local_day_numbers(zone, hour_zero=hour_zero, hours=hours),
    )


def _waiting(frame: Frame) -> list[Task]:
    return [t for t in frame.open_tasks if frame.standing[t.id].state is State.TO_DO]


def _work(frame: Frame, task: Task, tables: Tables, apart: tuple[str, ...]) -> Work:
    effort, shift = effort_of(frame, task), shift_of(frame, task)
    first, _ = _from_past(frame, task, tables)
    may_start = may_begin(frame, task, tables)
    finish = finish_table(tables.workable[task.id], shift, effort, may_start=may_start)
    under_way = frame.standing[task.id].state is State.UNDER_WAY
    going_on = under_way and not task.may_pause and finish[frame.now] < NEVER
    return Work(
        id=task.id,
        finish=finish,
        crews={**Counter(task.crew), **dict.fromkeys(apart, 1)},
        closes=bool(task.closes),
        not_before=max(first, frame.now),
        starts=(frame.now,) if going_on else () if under_way else _slots(frame, task),
        booking=None if under_way else _booking(frame, task),
        cost=tables.cost.get(task.id),
        fair=finish_table(np.ones(frame.hours, bool), shift, effort),
    )


def may_begin(frame: Frame, task: Task, tables: Tables) -> BoolArray:
    """Return the hours in which a task may begin, whatever its weather: ``(hours,)``.

    By its days, by what must follow soon on work that is done, and by what ``tables`` say.
    """
    _, last = _from_past(frame, task, tables)
    mask: BoolArray = np.arange(frame.hours) <= last
    mask &= tables.may_start.get(task.id, np.ones(frame.hours, bool))
    if task.days:
        zone = frame.job.site.time_zone
        mask &= days_mask(task.days, zone, hour_zero=frame.hour_zero, hours=frame.hours)
    return mask


def _slots(frame: Frame, task: Task) -> tuple[int, ...]:
    return tuple(sorted({frame.hour(slot) for slot in task.slots}))


def _booking(frame: Frame, task: Task) -> Booking | None:
    visit = task.appointment
    if visit is None:
        return None
    return Booking(
        who=visit.who,
        start=frame.hour(visit.start),
        slots=tuple(sorted({frame.hour(slot) for slot in visit.slots})),
        earliest_move=frame.now + whole_hours(visit.notice_h),
    )


def _apart(frame: Frame) -> dict[str, tuple[str, ...]]:
    """Return for each open task the pairs it must not overlap in; each pair is a crew of one."""
    open_ids = {task.id for task in frame.open_tasks}
    pairs = {
        tuple(sorted((task.id, other)))
        for task in frame.open_tasks
        for other in task.apart_from
        if other in open_ids
    }
    return {
        id_: tuple(f"apart:{a}:{b}" for a, b in sorted(pairs) if id_ in (a, b)) for id_ in open_ids
    }


def _rents(frame: Frame) -> tuple[Rent, ...]:
    open_ids = {task.id for task in frame.open_tasks}
    rents = []
    for rented in frame.job.rented:
        tasks = tuple(sorted(set(rented.tasks) & open_ids))
        if tasks:
            since = None if rented.since is None else frame.hour(rented.since)
            rents.append(Rent(rented.id, tasks, round(rented.cost_per_day), since))
    return tuple(rents)


def _from_past(frame: Frame, task: Task, tables: Tables) -> tuple[int, int]:
    """Return first and last start that what has happened leaves, and deliveries."""
    given = delivered_from(frame.job, task)
    first = max([0, *(frame.hour(at) for at in (task.not_before, given) if at is not None)])
    last = frame.hours
    if frame.standing[task.id].state is not State.TO_DO:
        return first, last
    past = [link for link in task.after if is_past(frame, link)]
    for link in past:
        moment = _happened(frame, link)
        first = max(first, _opened(frame, link, moment))
        if link.within_h is not None:
            last = min(last, int(np.floor(hours_from(frame.hour_zero, moment) + link.within_h)))
    gates = [_gate_of_past(frame, task, link, tables) for link in past if link.gate is not None]
    return max([first, *gates]), last


def _happened(frame: Frame, link: Link) -> datetime:
    """Return when what a link waits for happened; where nobody told, waits count from now."""
    standing = frame.standing[link.task]
    told = standing.started if link.kind is LinkKind.START_START else standing.finished
    return moment_of(frame.hour_zero, frame.now) if told is None else told


def _opened(frame: Frame, link: Link, moment: datetime) -> int:
    """Return the first hour that a link's waits allow after a moment that is past."""
    elapsed = max(link.wait_h, link.gate.wait_h if link.gate is not None else 0.0)
    at = hours_from(frame.hour_zero, moment)
    first = whole_hours(at + elapsed)
    wait = whole_hours(link.wait_working_h)
    if wait == 0:
        return first
    begin = whole_hours(at)
    zone, zero = frame.job.site.time_zone, moment_of(frame.hour_zero, begin)
    shift = shift_mask(frame.job.calendar, zone, hour_zero=zero, hours=max(frame.hours - begin, 0))
    after = int(ready_after_shifts(shift, wait)[0])
    return max(first, after + begin if after < NEVER else NEVER)


def _gate_of_past(frame: Frame, task: Task, link: Link, tables: Tables) -> int:
    table = np.asarray(tables.ready[task.id, link.task])
    return int(table if table.ndim == 0 else table[hour_of_past(frame, link)])


def hour_of_past(frame: Frame, link: Link) -> int:
    """Return the hour of what a link waits for, which has happened, as a table's place."""
    return min(max(frame.hour(_happened(frame, link)), 0), frame.hours)


def _tie(frame: Frame, task: Task, link: Link, tables: Tables) -> Tie:
    ready = ready_after(frame.hours, whole_hours(link.wait_h))
    if link.wait_working_h > 0:
        shift = shift_mask(
            frame.job.calendar,
            frame.job.site.time_zone,
            hour_zero=frame.hour_zero,
            hours=frame.hours,
        )
        wait = whole_hours(link.wait_working_h)
        ready = np.maximum(ready, ready_after_shifts(shift, wait))
    if link.gate is not None:
        ready = np.maximum(ready, ready_after(frame.hours, whole_hours(link.gate.wait_h)))
        ready = np.maximum(ready, tables.ready[task.id, link.task])
    return Tie(
        before=link.task,
        after=task.id,
        ready=ready.astype(np.int32),
        from_start=link.kind is LinkKind.START_START,
        within=None if link.within_h is None else int(np.floor(link.within_h)),
        gated=link.gate is not None,
    )
