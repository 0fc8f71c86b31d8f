"""Levers tried and latest starts found on the scenarios of a plan, by the plan's own order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np

from rules.book import Book
from rules.exposure import HourNumbers
from rules.weather import Weather
from scheduler.planning.evidence.facts import asked_of
from scheduler.planning.forecast.scenarios import Scenarios
from scheduler.planning.levers.levers import (
    ENCLOSURE,
    LEVER_SCENARIOS,
    Change,
    both,
    changes,
    not_tried,
)
from scheduler.planning.levers.prices import Kept, PricedJob, Trial
from scheduler.planning.levers.results import by_money, levers_of
from scheduler.planning.model.frame import Frame
from scheduler.planning.model.job import Job
from scheduler.planning.money.protection_days import kept_after_h
from scheduler.planning.open_house.closein_date import CloseInAnswer, first_breach
from scheduler.planning.open_house.closing_work import work_runs_out
from scheduler.planning.open_house.exposure_readings import as_found
from scheduler.planning.plan.judged_job import Judged, gates_in, judged_task, problem_of
from scheduler.planning.plan.latest_starts import LatestStarts, latest_starts
from scheduler.planning.plan.lines import closing_finishes, opened_at
from scheduler.planning.plan.odds import begun, own_gates, replayed
from scheduler.planning.plan.plan_answer import Lever, PlanAnswer
from scheduler.planning.replay.replay import Replayed
from scheduler.planning.replay.season_chain import Chain
from scheduler.planning.schedule.network import Plan, Problem
from scheduler.planning.strength.job_gates import JobGates
from scheduler.planning.strength.logged_breaks import OwnMixes
from scheduler.planning.tables.finish import NEVER, IntArray
from scheduler.planning.tables.hours import HourlyTable
from scheduler.planning.windows.task_weather import TaskWeather


@dataclass(frozen=True, slots=True)
class Tried:
    """Everything that a change of the job is tried on."""

    frame: Frame
    book: Book
    judged: Judged
    strength: JobGates
    plan: Plan
    told: Replayed | None
    weather: Scenarios
    problem: Problem
    mixes: OwnMixes
    observed: HourlyTable | None


def with_room(
    answer: PlanAnswer, rest: Tried, dated: CloseInAnswer | None, pairs: int | None
) -> PlanAnswer:
    """Return the answer with what would buy chance, and how late each task may begin."""
    latest = _latest(rest, dated)
    answer = replace(answer, levers=_levers(rest, dated, pairs), not_tried=not_tried(rest.frame))
    if latest is None:
        return answer
    return replace(answer, latest=latest.rows, latest_keeps=latest.keeps)


def _levers(rest: Tried, dated: CloseInAnswer | None, pairs: int | None) -> tuple[Lever, ...]:
    """Return what would raise the chance, the most first; the best ``pairs`` two by two too."""
    told = rest.told
    if told is None or dated is None or dated.chance is None or rest.problem.days is None:
        return ()
    some = rest.weather.first(LEVER_SCENARIOS)
    weather = Weather(dict(some.table.columns), rest.frame.hours)  # one: it remembers verdicts
    before = Trial(_passed(rest, rest.frame.job, some), *_rows(told, some.count))

    def tried(change: Change) -> Trial:
        passed = _passed(rest, change.job, some) if change.house else before.passed
        again = _again(rest, change, some, weather) if change.order else None
        if again is None:
            return replace(before, passed=passed)
        return Trial(passed, *_rows(again.told, some.count), kept=again.kept)

    opened = opened_at(rest.frame, rest.plan)
    job = PricedJob(rest.frame, weather, rest.problem.days, opened)
    every = changes(rest.frame, dear=pairs is not None)
    singles = {change.what: (change, tried(change)) for change in every}
    found = levers_of(dated.chance, job, before, singles.values())
    best = [singles[lever.what][0] for lever in by_money(found)[: pairs or 0]]
    together = (both(rest.frame, one, other) for one, other in combinations(best, 2))
    two = [(change, tried(change)) for change in together if change is not None]
    return levers_of(dated.chance, job, before, [*singles.values(), *two]) if two else found


def _rows(told: Replayed, count: int) -> tuple[Chain, HourNumbers]:
    """Return the first scenarios of a replay as a chain, and their close-in."""
    start, finish = (
        np.ascontiguousarray(hours[:count].T[:, None, :]).astype(np.int64)
        for hours in (told.start, told.finish)
    )
    return Chain(told.ids, start, finish), told.close_in[:count].astype(np.int64)


def _passed(rest: Tried, job: Job, some: Scenarios) -> HourNumbers:
    """Return the first hour past a limit in each of some scenarios."""
    runs_out = [
        replace(one, passed=one.passed[: some.count], unknown=one.unknown[: some.count])
        for one in work_runs_out(closing_finishes(rest.frame, rest.judged))
    ]
    return first_breach(
        job=replace(job, exposure=as_found(job.exposure, rest.frame.progress)),
        weather=some,
        open_from=opened_at(rest.frame, rest.plan),
        more=runs_out,
    )


def _latest(rest: Tried, dated: CloseInAnswer | None) -> LatestStarts | None:
    """Return how late each task may begin; None where no chance is stated."""
    if rest.told is None or dated is None or dated.chance is None:
        return None
    some = rest.weather.first(LEVER_SCENARIOS)
    hours = {name: each.first(some.count) for name, each in rest.judged.work_hours().items()}
    stands = problem_of(rest.frame, rest.judged, rest.strength.ungated())
    passed = _passed(rest, rest.frame.job, some)
    allowed = begun(rest.frame, rest.strength, hours)
    gates = own_gates(rest.frame, rest.strength).first(some.count)
    return latest_starts(rest.frame, stands, rest.plan, allowed, gates, passed)


@dataclass(frozen=True, slots=True)
class _Again:
    """The plan's order with a change, and where a measure of it is needed."""

    told: Replayed
    kept: Mapping[str, Kept] = field(default_factory=dict)


def _again(rest: Tried, change: Change, some: Scenarios, weather: Weather) -> _Again | None:
    """Return the plan's order replayed with a change; tasks close-in waits for judged again."""
    frame = replace(rest.frame, job=change.job)
    hours = {name: each.first(some.count) for name, each in rest.judged.work_hours().items()}
    again = _judged_again(rest, frame, weather) if change.hours else {}
    hours |= {name: each.hours() for name, each in again.items()}
    strength, kept = rest.strength, {}
    if change.strength:
        before = {n: np.atleast_2d(t)[: some.count] for n, t in rest.judged.finishes().items()}
        finish = before | {name: np.atleast_2d(each.finish) for name, each in again.items()}
        strength = gates_in(frame, finish, rest.judged, some.table, rest.mixes, rest.observed)
        kept = _kept(rest, frame, before, finish)
    stands = problem_of(frame, rest.judged, strength.ungated())
    gates = own_gates(frame, strength).first(some.count)
    told = replayed(frame, stands, rest.plan, strength, hours, gates)
    return None if told is None else _Again(told, kept)


def _judged_again(rest: Tried, frame: Frame, weather: Weather) -> dict[str, TaskWeather]:
    """Return what weather makes of the tasks that close-in waits for, as a job was changed."""
    if rest.told is None:
        return {}
    share = dict(zip(rest.told.ids, rest.told.critical(), strict=True))
    past = np.arange(frame.hours) >= rest.judged.tail_from
    return {
        task.id: judged_task(frame, rest.book, task, weather, past)
        for task in frame.open_tasks
        if share.get(task.id, 0.0) > 0.0
    }


def _kept(
    rest: Tried, frame: Frame, before: Mapping[str, IntArray], finish: Mapping[str, IntArray]
) -> dict[str, Kept]:
    """Return, by task, the starts that nothing but an enclosure makes possible."""
    found = {}
    for task in frame.open_tasks:
        after_h = kept_after_h(rest.book, asked_of(frame, task), ENCLOSURE)
        if after_h is not None:
            needed = (finish[task.id] < NEVER) & (finish[task.id] != before[task.id])
            found[task.id] = Kept(needed, after_h)
    return found
