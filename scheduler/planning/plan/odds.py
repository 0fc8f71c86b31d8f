"""The odds of a plan put into its answer: ranges of dates, appointments, who is critical."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import datetime

import numpy as np

from scheduler.planning.forecast.scenarios import Scenarios
from scheduler.planning.model.calendars import moment_of
from scheduler.planning.model.frame import Frame, is_past
from scheduler.planning.model.job import State
from scheduler.planning.plan.plan_answer import PlanAnswer, PlanLine
from scheduler.planning.plan.problem import Tables, hour_of_past, may_begin
from scheduler.planning.replay.limit_odds import LimitOdds, limit_odds
from scheduler.planning.replay.replay import Replayed, at_share, replay
from scheduler.planning.schedule.network import Plan, Problem
from scheduler.planning.strength.job_gates import JobGates
from scheduler.planning.tables.finish import NEVER, IntArray
from scheduler.planning.tables.own_gates import LinkKey, OwnGates
from scheduler.planning.tables.work_hours import WorkHours

EARLY, MIDDLE, LATE = 0.1, 0.5, 0.9


def replayed(
    frame: Frame,
    problem: Problem,
    plan: Plan,
    strength: JobGates,
    hours: Mapping[str, WorkHours],
    gates: OwnGates,
) -> Replayed | None:
    """Return the plan's order in every scenario; None where the plan has no place for a task.

    Parameters
    ----------
    frame : Frame
        The job's hours.
    problem : Problem
        As it stands in the forecast, without waits for weather past it, and with open gates.
    plan : Plan
        Its order is replayed.
    strength : JobGates
        Starts whose work would freeze.
    hours : WorkHours, by task
        By each scenario's weather; one row where no weather binds the task.
    gates : OwnGates
        What strength leaves in each scenario.
    """
    if not problem.tasks or len(plan.placed) != len(problem.tasks):
        return None
    return replay(problem, plan, begun(frame, strength, hours), gates=gates)


def own_gates(frame: Frame, strength: JobGates) -> OwnGates:
    """Return the gates of every scenario: on work to come, and on work that is done."""
    ready: dict[LinkKey, IntArray] = {}
    opens: dict[str, IntArray] = {}
    for task in frame.open_tasks:
        if frame.standing[task.id].state is not State.TO_DO:
            continue
        for link in task.after:
            if link.gate is None:
                continue
            each = strength.each[task.id, link.task]
            if not is_past(frame, link):
                ready[task.id, link.task] = each
                continue
            own = each if each.ndim == 1 else each[:, hour_of_past(frame, link)]
            opens[task.id] = np.maximum(opens.get(task.id, np.zeros(1, np.int32)), own)
    return OwnGates(ready, opens)


def begun(
    frame: Frame, strength: JobGates, hours: Mapping[str, WorkHours]
) -> dict[str, WorkHours]:
    """Return the hours with the starts taken out that days and strength do not allow."""
    tables = Tables(workable={}, ready=strength.ready, may_start=strength.may_start)
    return {
        task.id: hours[task.id].begun(may_begin(frame, task, tables)) for task in frame.open_tasks
    }


def with_odds(
    answer: PlanAnswer, frame: Frame, problem: Problem, told: Replayed, weather: Scenarios
) -> PlanAnswer:
    """Return the answer with the range of every date, and how often each task is critical.

    Where the past years are too few for shares it has neither, and counts years.
    """
    index = {name: n for n, name in enumerate(told.ids)}
    lines = tuple(
        _visited(line, frame, told, index[line.id], weather) if line.id in index else line
        for line in answer.tasks
    )
    limits = limit_odds(frame, problem, told, weather)
    broken = tuple(note for row in limits for note in _broken(row, frame, weather.years))
    answer = replace(answer, tasks=lines, notes=(*answer.notes, *broken))
    if not weather.carries_shares:
        return answer
    critical = told.critical()
    early, middle, late = (
        _moment(frame, at_share(told.close_in, share)) for share in (EARLY, MIDDLE, LATE)
    )
    return replace(
        answer,
        tasks=tuple(
            _with_range(line, frame, told, index[line.id], float(critical[index[line.id]]))
            if line.id in index
            else line
            for line in lines
        ),
        early_close_in=early,
        middle_close_in=middle,
        late_close_in=late,
    )


def _broken(row: LimitOdds, frame: Frame, years: int) -> Iterator[str]:
    """Yield what is said of a limit that is broken too often."""
    in_time = f"{row.task} begins in time after {row.after} in"
    if row.broken is not None and 1.0 - row.broken < frame.job.confidence:
        yield f"{in_time} {1.0 - row.broken:.0%} of scenarios only"
    elif row.years_broken:
        yield f"{in_time} {years - row.years_broken} of {years} past years only"


def early_starts(told: Replayed, frame: Frame) -> dict[str, datetime]:
    """Return by task the start that one scenario in ten comes to, or an earlier one."""
    found = {
        name: _moment(frame, at_share(told.start[:, n], EARLY)) for n, name in enumerate(told.ids)
    }
    return {name: moment for name, moment in found.items() if moment is not None}


def _visited(
    line: PlanLine, frame: Frame, told: Replayed, task: int, weather: Scenarios
) -> PlanLine:
    """Return the line with how often its appointment holds."""
    if line.appointment is None:
        return line
    chance, years = weather.counted(told.holds(task, frame.hour(line.appointment)))
    return replace(line, chance=chance, years_kept=years)


def _with_range(
    line: PlanLine, frame: Frame, told: Replayed, task: int, critical: float
) -> PlanLine:
    return replace(
        line,
        early=_moment(frame, told.quantile(task, EARLY)),
        middle=_moment(frame, told.quantile(task, MIDDLE)),
        late=_moment(frame, told.quantile(task, LATE)),
        critical=critical,
    )


def _moment(frame: Frame, hour: int) -> datetime | None:
    return moment_of(frame.hour_zero, hour) if hour < NEVER else None
