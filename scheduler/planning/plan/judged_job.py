"""A job judged by weather and strength: from verdicts to the problem that is planned.

Every open task in the forecast and in the scenarios, the gates behind fresh work, the waits for
weather past the forecast, what protection costs, and the replay of a plan on all of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from rules.book import Book
from rules.facts import Asked
from rules.verdict import FloatArray, VerdictArray
from rules.weather import Weather
from scheduler.planning.evidence.facts import asked_of
from scheduler.planning.forecast.scenarios import UNKNOWN, Scenarios
from scheduler.planning.model.deliveries import papers_of
from scheduler.planning.model.frame import Frame, effort_of, shift_of
from scheduler.planning.model.job import Task
from scheduler.planning.model.means import with_means
from scheduler.planning.money.protection_days import Protections
from scheduler.planning.plan.odds import own_gates, replayed
from scheduler.planning.plan.problem import Tables, build_problem
from scheduler.planning.replay.replay import Replayed
from scheduler.planning.schedule.network import Plan, Problem
from scheduler.planning.strength.gate_weather import gate_weather
from scheduler.planning.strength.job_gates import JobGates, bought_measure, job_gates
from scheduler.planning.strength.logged_breaks import OwnMixes
from scheduler.planning.tables.finish import BoolArray, IntArray
from scheduler.planning.tables.hours import HourlyTable
from scheduler.planning.tables.work_hours import WorkHours
from scheduler.planning.windows.task_weather import MAY, TaskWeather, going_on, task_weather
from scheduler.planning.windows.weather_waits import weather_wait, with_waits

MIDDLE: Final = 0.5  # share of scenarios whose weather a plan waits for, past the forecast


@dataclass(frozen=True, slots=True)
class Judged:
    """What book and papers say of every open task, in the forecast and in the scenarios."""

    told: Mapping[str, TaskWeather]  # (hours,), past the forecast not known
    many: Mapping[str, TaskWeather]  # (scenarios, hours)
    tail_from: int  # from here on some column of the forecast has ended
    blind: bool  # nothing is known past the forecast
    stale: bool
    weather: Weather  # of the scenarios; it remembers what it worked out
    unseen: tuple[str, ...] = ()  # columns of the forecast that no past year has

    def hourly(self) -> dict[str, VerdictArray]:
        """Return the verdicts of the hours that the forecast tells, by task."""
        return {name: each.by_hour[: self.tail_from] for name, each in self.told.items()}

    def work_hours(self) -> dict[str, WorkHours]:
        """Return when each task may be under way and begin in the scenarios."""
        return {name: each.hours() for name, each in self.many.items()}

    def finishes(self) -> dict[str, IntArray]:
        """Return the finish of every start in the scenarios, by task."""
        return {name: each.finish for name, each in self.many.items()}


def judge(
    frame: Frame,
    book: Book,
    traces: Scenarios,
    *,
    stale: bool,
    blind: bool,
    before: Mapping[str, FloatArray] | None = None,
) -> Judged:
    """Return what book and papers say of every open task, in the forecast and in each scenario.

    ``before`` holds the hours gone by, for rows that look back from the start.
    """
    told = traces.forecast
    ends = _column_ends(told)
    if stale:  # an old forecast tells nothing; where it reached, nothing is planned
        nothing = {name: np.full_like(v, np.nan) for name, v in told.columns.items()}
        told = HourlyTable(told.start, nothing)
    tail_from = max(ends) if stale and ends else min(ends, default=0)
    past = np.arange(frame.hours) >= tail_from
    gone = {} if before is None else before
    one = Weather(dict(told.columns), frame.hours, gone)
    many = Weather(dict(traces.table.columns), frame.hours, gone)
    each = {task.id: judged_task(frame, book, task, many, past) for task in frame.open_tasks}
    alone = {
        task.id: going_on(
            judged_task(frame, book, task, one, past),
            each[task.id],
            book,
            asked_in(frame, task),
            one,
            papers=papers_of(frame.job, task),
            until=tail_from,
            share=MIDDLE,
        )
        for task in frame.open_tasks
    }
    return Judged(
        told=alone,
        many=each,
        tail_from=tail_from,
        blind=blind,
        stale=stale,
        weather=many,
        unseen=() if blind else _unseen(traces),
    )


def _unseen(traces: Scenarios) -> tuple[str, ...]:
    return tuple(name for name, origin in traces.origin.items() if (origin == UNKNOWN).any())


def _column_ends(table: HourlyTable) -> list[int]:
    """Return the hour after the last known one of each column the forecast has."""
    ends = []
    for values in table.columns.values():
        known = np.flatnonzero(np.isfinite(values.reshape(-1, values.shape[-1])).any(axis=0))
        ends.append(int(known[-1]) + 1 if known.size else 0)
    return ends


def judged_task(
    frame: Frame, book: Book, task: Task, weather: Weather, unseen: BoolArray
) -> TaskWeather:
    """Judge one task by the book and by the papers that bind it."""
    job = frame.job
    return task_weather(
        book,
        asked_in(frame, task),
        weather,
        shift=shift_of(frame, task),
        effort=effort_of(frame, task),
        papers=papers_of(job, task),
        unseen=unseen,
        straddles=frame.straddles,
    )


def asked_in(frame: Frame, task: Task) -> Asked:
    """Return what the book is asked of a task, with the hours at which measures are there."""
    return with_means(asked_of(frame, task), frame.job, frame.moment, frame.hour_zero)


def problem_of(frame: Frame, judged: Judged, strength: JobGates) -> Problem:
    """Return the problem as the forecast's hours stand, every shift hour after them fit."""
    tables = Tables(
        workable={name: told.by_hour <= MAY for name, told in judged.told.items()},
        may_start={
            name: (told.by_start <= MAY) & strength.may_start.get(name, True)
            for name, told in judged.told.items()
        },
        ready=strength.ready,
    )
    return build_problem(
        frame.job,
        frame.progress,
        hour_zero=frame.hour_zero,
        hours=frame.hours,
        tables=tables,
        now_hour=frame.now,
    )


def protections_of(frame: Frame, book: Book, judged: Judged, strength: JobGates) -> Protections:
    """Return what tells the days of a measure that each start takes."""
    return Protections(
        frame,
        book,
        judged.weather,
        judged.finishes(),
        unseen=np.arange(frame.hours) >= judged.tail_from,
        bought=strength.bought,
        warmest=bought_measure(frame),
    )


def with_costs(problem: Problem, paid: Mapping[str, IntArray]) -> Problem:
    """Return the problem with what protection costs by start."""
    tasks = (replace(work, cost=paid.get(work.id)) for work in problem.tasks)
    return replace(problem, tasks=tuple(tasks))


def with_weather_waits(problem: Problem, judged: Judged) -> Problem:
    """Return the problem with waits for weather past the forecast.

    A column that neither forecast nor past years have past the forecast's end cannot be waited
    for; the answer's notes name it.
    """
    if judged.blind:
        return problem
    waits = {
        name: weather_wait(
            np.atleast_2d(many.finish),
            judged.told[name].finish,
            share=MIDDLE,
            horizon=judged.tail_from,
        )
        for name, many in judged.many.items()
    }
    return with_waits(problem, waits)


def strength_of(
    frame: Frame,
    judged: Judged,
    traces: Scenarios,
    mixes: OwnMixes,
    observed: HourlyTable | None,
) -> JobGates:
    """Return the ready tables of strength gates, and the starts whose work would freeze.

    Hours past what is known give no strength. Work that was done before now has the strength of
    what was observed and read since, and none for hours that nobody knows.
    """
    finish = {name: np.atleast_2d(many.finish) for name, many in judged.many.items()}
    told = None if judged.stale else _known_hours(traces.forecast, judged.tail_from)
    return gates_in(frame, finish, judged, traces.table, mixes, observed, told)


def _known_hours(forecast: HourlyTable, until: int) -> HourlyTable | None:
    """Return the forecast's hours before its first column ends, as calls have them."""
    if until < 1:
        return None
    columns = {name: np.atleast_2d(v)[:, :until] for name, v in forecast.columns.items()}
    return HourlyTable(forecast.start[:until], columns)


def gates_in(
    frame: Frame,
    finish: Mapping[str, IntArray],
    judged: Judged,
    table: HourlyTable,
    mixes: OwnMixes,
    observed: HourlyTable | None,
    told: HourlyTable | None = None,
) -> JobGates:
    """Return the same for finishes in a table's scenarios; the forecast's are followed too."""
    followed = {
        name: np.concatenate([np.atleast_2d(told.finish), finish[name]])
        for name, told in judged.told.items()
    }
    return job_gates(
        frame,
        weather=gate_weather(frame, table, observed, told),
        finish=followed,
        works=mixes.works,
    )


def replayed_plan(frame: Frame, judged: Judged, strength: JobGates, plan: Plan) -> Replayed | None:
    """Return the plan's order in every scenario; None where too little is known."""
    if judged.blind or judged.stale:
        return None
    stands = problem_of(frame, judged, strength.ungated())
    gates = own_gates(frame, strength)
    return replayed(frame, stands, plan, strength, judged.work_hours(), gates)
