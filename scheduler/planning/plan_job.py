"""Rebuild the rest of a job from now: weather to tables, tables to plan, plan to date and margin.

Pure: everything it looks at is handed in, and the same inputs give the same answer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import combinations
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from rules.book import Book
from rules.exposure import HourNumbers
from rules.verdict import VerdictArray
from rules.weather import Weather
from scheduler.planning.calendars import moment_of, whole_hour_from
from scheduler.planning.climate_years import ClimateYears
from scheduler.planning.closein_date import CloseInAnswer, closein_date, first_breach
from scheduler.planning.closing_work import FitHours, fit_hours, work_runs_out
from scheduler.planning.decide_holds import standing_holds
from scheduler.planning.ensemble_line import members_of
from scheduler.planning.envelope import OpenPart, hour_opened, open_parts
from scheduler.planning.exposure_readings import as_found
from scheduler.planning.gate_weather import gate_weather
from scheduler.planning.hours import Forecast, HourlyTable
from scheduler.planning.job import Job, State, Task
from scheduler.planning.job_gates import JobGates, bought_measure, job_gates
from scheduler.planning.known_facts import asked_of
from scheduler.planning.latest_starts import LatestStarts, latest_starts
from scheduler.planning.lever_prices import Kept, PricedJob, Trial
from scheduler.planning.lever_results import by_money, levers_of
from scheduler.planning.levers import (
    ENCLOSURE,
    LEVER_SCENARIOS,
    Change,
    both,
    changes,
    not_tried,
)
from scheduler.planning.log import Progress
from scheduler.planning.logged_breaks import OwnMixes, own_mixes
from scheduler.planning.network import Plan, Problem
from scheduler.planning.plan_answer import Basis, Lever, PlanAnswer, PlanLine
from scheduler.planning.plan_before import starts_before
from scheduler.planning.plan_collisions import collision_lines
from scheduler.planning.plan_gates import fresh_lines, gate_lines, held_notes
from scheduler.planning.plan_money import plan_money
from scheduler.planning.plan_odds import begun, own_gates, replayed, with_odds
from scheduler.planning.problem import Frame, Tables, build_problem, effort_of, frame_of, shift_of
from scheduler.planning.protection_days import Protections, kept_after_h
from scheduler.planning.replay import Replayed
from scheduler.planning.scenarios import UNKNOWN, Scenarios, scenarios
from scheduler.planning.season_chain import Chain
from scheduler.planning.solve import solve
from scheduler.planning.steps import (
    DATE,
    LEVERS,
    ODDS,
    SCHEDULE,
    STOP_AND_MONEY,
    STRENGTH,
    TRACES,
    VERDICTS,
    Watch,
    unwatched,
)
from scheduler.planning.tables import NEVER, BoolArray, IntArray
from scheduler.planning.task_weather import MAY, TaskWeather, papers_of, task_weather
from scheduler.planning.weather_waits import weather_wait, with_waits
from scheduler.planning.winter_stop import winter_stop
from scheduler.planning.work_hours import WorkHours

SEASON_DAYS: Final = 120  # planned on where the job names no season's end
MIDDLE: Final = 0.5  # share of scenarios whose weather a plan waits for, past the forecast


@dataclass(frozen=True, slots=True)
class Planned:
    """The plan with what it was made of."""

    answer: PlanAnswer
    plan: Plan
    problem: Problem
    frame: Frame
    weather: Scenarios
    told: Replayed | None = None  # the plan's order in every scenario
    hourly: Mapping[str, VerdictArray] = field(default_factory=dict)  # by task, what is forecast
    many: Mapping[str, TaskWeather] = field(default_factory=dict)  # by task, in every scenario


def plan_job(  # noqa: PLR0913 - everything that is looked at is handed in
    job: Job,
    *,
    book: Book,
    progress: Progress,
    forecast: Forecast,
    climate: ClimateYears | None,
    now: datetime,
    seed: int,
    count: int,
    observed: HourlyTable | None = None,
    before: Mapping[str, datetime] | None = None,
    pairs: int | None = None,
    compared: bool = False,
    watch: Watch = unwatched,
) -> Planned:
    """Return the rest of the schedule, the latest safe close-in date and the margin.

    Parameters
    ----------
    job, book, progress : Job, Book, Progress
        What is planned, by which rules, and what happened.
    forecast : Forecast
        The newest one. Past its age limit its hours are not known, and so are not planned on.
    climate : ClimateYears or None
        Past years from the hour of ``now``. None: nothing is known past the forecast; every
        shift hour there is taken as fit, said so, and no date is given.
    now : datetime
        UTC.
    seed, count
        Of the scenarios.
    observed : HourlyTable, optional
        Weather that finished work has been through; hours it lacks give no strength.
    before : datetime, by task, optional
        Starts of the plan that was told last: among plans that are as good, the one that keeps
        most of them is taken.
    pairs
        How many of the best levers are tried two by two, those that take the wall model once more
        among them; None: neither.
    compared
        Only what another plan is compared with: hours, odds and the date; neither levers nor
        latest starts, money, gates or what stands in the way.
    watch
        Told the name of each step as it begins.
    """
    watch(TRACES)
    zero, _ = planned_hours(job, now)

    def weather_from(table: HourlyTable, years: ClimateYears | None) -> Scenarios:
        return scenarios(
            forecast=table,
            climate=years,
            now=zero,
            until=season_end(job, now),
            seed=seed,
            count=count if years is not None else 1,
            longitude_deg=job.site.longitude_deg,
        )

    traces = weather_from(members_of(forecast), climate)
    notes = () if climate is None else _about(climate)
    if climate is not None and not traces.years:  # past years that end in the season tell nothing
        notes, climate = (*notes, *traces.notes), None
        traces = weather_from(members_of(forecast), None)
    frame = frame_of(job, progress, hour_zero=zero, hours=traces.table.hours, now_hour=0)
    watch(VERDICTS)
    judged = _judge(frame, book, traces, stale=is_stale(forecast, now), blind=climate is None)
    watch(STRENGTH)
    mixes = own_mixes(frame)
    strength = _strength(frame, judged, traces, mixes, observed)
    stands = _problem(frame, judged, strength)
    watch(SCHEDULE)
    protections = _protections(frame, book, judged, strength)
    problem = _priced(_waiting(stands, judged), protections.costs())
    plan = solve(problem, previous=starts_before(frame, before or {}))
    watch(ODDS)
    told = _replayed(frame, judged, strength, plan)
    watch(DATE)
    close_in = moment_of(zero, plan.close_in) if plan.close_in < NEVER else None
    found, fresh = None, traces
    if climate is not None:
        if judged.stale:
            fresh = weather_from(HourlyTable(forecast.table.start, {}), climate)
        found = closein_date(
            job=replace(job, exposure=as_found(job.exposure, progress)),
            weather=fresh,
            planned=close_in,
            closed=None if told is None else told.close_in.astype(np.int64),
            open_from=_opened(frame, plan),
            more=() if judged.stale else work_runs_out(_closing(frame, judged)),
        )
    answer = _answer(frame, judged, plan, found, now)
    if told is not None:
        answer = with_odds(answer, frame, stands, told)
    if compared:
        return Planned(answer, plan, problem, frame, traces, told, judged.hourly(), judged.many)
    watch(LEVERS)
    rest = _Rest(frame, book, judged, strength, plan, told, fresh, problem, mixes, observed)
    answer = _with_room(answer, rest, found, pairs)
    watch(STOP_AND_MONEY)
    stop = winter_stop(frame, book, fresh, chance=None if found is None else found.chance)
    opened = _opened(frame, plan)
    answer = replace(
        answer,
        gates=gate_lines(frame, plan, strength),
        fresh=fresh_lines(frame, plan, strength),
        collisions=collision_lines(frame, problem, plan),
        stop=stop,
        money=plan_money(protections, plan, problem, opened=opened),
        open_parts=_open_parts(frame, plan),
        fit_hours=() if judged.blind or judged.stale else _fit_hours(frame, judged),
        notes=(*held_notes(frame, strength), *notes, *answer.notes, *mixes.notes),
    )
    return Planned(answer, plan, problem, frame, traces, told, judged.hourly(), judged.many)


@dataclass(frozen=True, slots=True)
class _Rest:
    """Everything that a change of the job is tried on."""

    frame: Frame
    book: Book
    judged: _Judged
    strength: JobGates
    plan: Plan
    told: Replayed | None
    weather: Scenarios
    problem: Problem
    mixes: OwnMixes
    observed: HourlyTable | None


def _levers(rest: _Rest, dated: CloseInAnswer | None, pairs: int | None) -> tuple[Lever, ...]:
    """Return what would raise the chance, the most first; the best ``pairs`` two by two too."""
    told = rest.told
    if told is None or dated is None or dated.chance is None or rest.problem.days is None:
        return ()
    some = rest.weather.first(LEVER_SCENARIOS)
    before = Trial(_passed(rest, rest.frame.job, some), *_rows(told, some.count))

    def tried(change: Change) -> Trial:
        passed = _passed(rest, change.job, some) if change.house else before.passed
        again = _again(rest, change, some) if change.order else None
        if again is None:
            return replace(before, passed=passed)
        return Trial(passed, *_rows(again.told, some.count), kept=again.kept)

    weather = Weather(dict(some.table.columns), rest.frame.hours)
    opened = _opened(rest.frame, rest.plan)
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


def _passed(rest: _Rest, job: Job, some: Scenarios) -> HourNumbers:
    """Return the first hour past a limit in each of some scenarios."""
    runs_out = [
        replace(one, passed=one.passed[: some.count], unknown=one.unknown[: some.count])
        for one in work_runs_out(_closing(rest.frame, rest.judged))
    ]
    return first_breach(
        job=replace(job, exposure=as_found(job.exposure, rest.frame.progress)),
        weather=some,
        open_from=_opened(rest.frame, rest.plan),
        more=runs_out,
    )


def _with_room(
    answer: PlanAnswer, rest: _Rest, dated: CloseInAnswer | None, pairs: int | None
) -> PlanAnswer:
    """Return the answer with what would buy chance, and how late each task may begin."""
    latest = _latest(rest, dated)
    answer = replace(answer, levers=_levers(rest, dated, pairs), not_tried=not_tried(rest.frame))
    if latest is None:
        return answer
    return replace(answer, latest=latest.rows, latest_keeps=latest.keeps)


def _latest(rest: _Rest, dated: CloseInAnswer | None) -> LatestStarts | None:
    """Return how late each task may begin; None where no chance is stated."""
    if rest.told is None or dated is None or dated.chance is None:
        return None
    some = rest.weather.first(LEVER_SCENARIOS)
    hours = {name: each.first(some.count) for name, each in rest.judged.work_hours().items()}
    stands = _problem(rest.frame, rest.judged, rest.strength.ungated())
    passed = _passed(rest, rest.frame.job, some)
    allowed = begun(rest.frame, rest.strength, hours)
    gates = own_gates(rest.frame, rest.strength).first(some.count)
    return latest_starts(rest.frame, stands, rest.plan, allowed, gates, passed)


@dataclass(frozen=True, slots=True)
class _Again:
    """The plan's order with a change, and where a measure of it is needed."""

    told: Replayed
    kept: Mapping[str, Kept] = field(default_factory=dict)


def _again(rest: _Rest, change: Change, some: Scenarios) -> _Again | None:
    """Return the plan's order replayed with a change; tasks close-in waits for judged again."""
    frame = replace(rest.frame, job=change.job)
    hours = {name: each.first(some.count) for name, each in rest.judged.work_hours().items()}
    again = _judged_again(rest, frame, some) if change.hours else {}
    hours |= {name: each.hours() for name, each in again.items()}
    strength, kept = rest.strength, {}
    if change.strength:
        before = {n: np.atleast_2d(t)[: some.count] for n, t in rest.judged.finishes().items()}
        finish = before | {name: np.atleast_2d(each.finish) for name, each in again.items()}
        strength = _gates_of(frame, finish, rest.judged, some.table, rest.mixes, rest.observed)
        kept = _kept(rest, frame, before, finish)
    stands = _problem(frame, rest.judged, strength.ungated())
    gates = own_gates(frame, strength).first(some.count)
    told = replayed(frame, stands, rest.plan, strength, hours, gates)
    return None if told is None else _Again(told, kept)


def _judged_again(rest: _Rest, frame: Frame, some: Scenarios) -> dict[str, TaskWeather]:
    """Return what weather makes of the tasks that close-in waits for, as a job was changed."""
    if rest.told is None:
        return {}
    share = dict(zip(rest.told.ids, rest.told.critical(), strict=True))
    weather = Weather(dict(some.table.columns), frame.hours)
    past = np.arange(frame.hours) >= rest.judged.tail_from
    return {
        task.id: _task(frame, rest.book, task, weather, past)
        for task in frame.open_tasks
        if share.get(task.id, 0.0) > 0.0
    }


def _kept(
    rest: _Rest, frame: Frame, before: Mapping[str, IntArray], finish: Mapping[str, IntArray]
) -> dict[str, Kept]:
    """Return, by task, the starts that nothing but an enclosure makes possible."""
    found = {}
    for task in frame.open_tasks:
        after_h = kept_after_h(rest.book, asked_of(frame.job, task, frame.progress), ENCLOSURE)
        if after_h is not None:
            needed = (finish[task.id] < NEVER) & (finish[task.id] != before[task.id])
            found[task.id] = Kept(needed, after_h)
    return found


def _replayed(frame: Frame, judged: _Judged, strength: JobGates, plan: Plan) -> Replayed | None:
    """Return the plan's order in every scenario; None where too little is known."""
    if judged.blind or judged.stale:
        return None
    stands = _problem(frame, judged, strength.ungated())
    gates = own_gates(frame, strength)
    return replayed(frame, stands, plan, strength, judged.work_hours(), gates)


def _opened(frame: Frame, plan: Plan) -> int:
    """Return the hour in which the house is first open, by the log and the plan."""
    return hour_opened(_open_parts(frame, plan), frame.job, frame.hour_zero)


def _open_parts(frame: Frame, plan: Plan) -> tuple[OpenPart, ...]:
    ahead = {
        row.id: (moment_of(frame.hour_zero, row.start), moment_of(frame.hour_zero, row.finish))
        for row in plan.placed
    }
    return open_parts(frame.job, frame.standing, ahead)


def _fit_hours(frame: Frame, judged: _Judged) -> tuple[FitHours, ...]:
    """Return the hours left for the tasks that close the house."""
    return tuple(
        fit_hours(
            task.id,
            needs_h=frame.standing[task.id].hours_left,
            fit=judged.many[task.id].by_hour <= MAY,
            shift=shift_of(frame, task),
        )
        for task in frame.open_tasks
        if task.closes
    )


def _closing(frame: Frame, judged: _Judged) -> dict[str, IntArray]:
    """Return the finish tables, in every scenario, of the tasks that close the house."""
    return {t.id: judged.many[t.id].finish for t in frame.open_tasks if t.closes}


def _about(climate: ClimateYears) -> tuple[str, ...]:
    """Return what a person should know of the past years."""
    years = f"{climate.years[0]} to {climate.years[-1]}"
    noticed = [finding.what for finding in climate.findings]
    return (f"past years: {climate.station}, {years}", *noticed)


def planned_hours(job: Job, now: datetime) -> tuple[datetime, int]:
    """Return hour zero, the first whole hour not before now, and the hours to season's end."""
    zero = whole_hour_from(now)
    return zero, max(round((season_end(job, now) - zero) / timedelta(hours=1)), 0)


def season_end(job: Job, now: datetime) -> datetime:
    """Return the local midnight after the season's last day, UTC."""
    zone = ZoneInfo(job.site.time_zone)
    last: date = job.season_end or now.astimezone(zone).date() + timedelta(days=SEASON_DAYS)
    return datetime.combine(last + timedelta(days=1), time(0), zone).astimezone(UTC)


def is_stale(forecast: Forecast, now: datetime) -> bool:
    """Tell whether a forecast is too old to go on, or does not say how old it is."""
    age = forecast.provenance.age_h(now)
    return age is None or age > forecast.provenance.age_limit_h


@dataclass(frozen=True, slots=True)
class _Judged:
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


def _judge(frame: Frame, book: Book, traces: Scenarios, *, stale: bool, blind: bool) -> _Judged:
    told = traces.forecast
    ends = _column_ends(told)
    if stale:  # an old forecast tells nothing; where it reached, nothing is planned
        nothing = {name: np.full_like(v, np.nan) for name, v in told.columns.items()}
        told = HourlyTable(told.start, nothing)
    tail_from = max(ends) if stale and ends else min(ends, default=0)
    past = np.arange(frame.hours) >= tail_from
    one = Weather(dict(told.columns), frame.hours)
    many = Weather(dict(traces.table.columns), frame.hours)
    return _Judged(
        told={task.id: _task(frame, book, task, one, past) for task in frame.open_tasks},
        many={task.id: _task(frame, book, task, many, past) for task in frame.open_tasks},
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


def _task(
    frame: Frame, book: Book, task: Task, weather: Weather, unseen: BoolArray
) -> TaskWeather:
    """Judge one task by the book and by the papers that bind it."""
    job = frame.job
    return task_weather(
        book,
        asked_of(job, task, frame.progress),
        weather,
        shift=shift_of(frame, task),
        effort=effort_of(frame, task),
        papers=papers_of(job, task),
        unseen=unseen,
    )


def _problem(frame: Frame, judged: _Judged, strength: JobGates) -> Problem:
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


def _protections(frame: Frame, book: Book, judged: _Judged, strength: JobGates) -> Protections:
    return Protections(
        frame,
        book,
        judged.weather,
        judged.finishes(),
        unseen=np.arange(frame.hours) >= judged.tail_from,
        bought=strength.bought,
        warmest=bought_measure(frame),
    )


def _priced(problem: Problem, paid: Mapping[str, IntArray]) -> Problem:
    """Return the problem with what protection costs by start."""
    tasks = (replace(work, cost=paid.get(work.id)) for work in problem.tasks)
    return replace(problem, tasks=tuple(tasks))


def _waiting(problem: Problem, judged: _Judged) -> Problem:
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


def _strength(
    frame: Frame,
    judged: _Judged,
    traces: Scenarios,
    mixes: OwnMixes,
    observed: HourlyTable | None,
) -> JobGates:
    """Return the ready tables of strength gates, and the starts whose work would freeze.

    Hours past what is known give no strength. Work that was done before now has the strength of
    what was observed and read since, and none for hours that nobody knows.
    """
    finish = {name: np.atleast_2d(many.finish) for name, many in judged.many.items()}
    return _gates_of(frame, finish, judged, traces.table, mixes, observed)


def _gates_of(
    frame: Frame,
    finish: Mapping[str, IntArray],
    judged: _Judged,
    table: HourlyTable,
    mixes: OwnMixes,
    observed: HourlyTable | None,
) -> JobGates:
    """Return the same for finishes in a table's scenarios; the forecast's are followed too."""
    followed = {
        name: np.concatenate([np.atleast_2d(told.finish), finish[name]])
        for name, told in judged.told.items()
    }
    return job_gates(
        frame,
        weather=gate_weather(frame, table, observed),
        finish=followed,
        works=mixes.works,
    )


def _answer(
    frame: Frame, judged: _Judged, plan: Plan, found: CloseInAnswer | None, now: datetime
) -> PlanAnswer:
    lines = [_line(frame, judged, plan, task) for task in frame.job.tasks]
    lines.sort(key=lambda line: (not line.done, line.start is None, line.start or now))
    close_in = moment_of(frame.hour_zero, plan.close_in) if plan.close_in < NEVER else None
    basis = None if close_in is None else _basis(judged, plan.close_in)
    return PlanAnswer(
        job=frame.job.name,
        at=now,
        status=plan.status.value,
        proof=plan.proof,
        tasks=tuple(lines),
        close_in=close_in,
        close_in_basis=basis,
        date=found,
        forecast_until=moment_of(frame.hour_zero, judged.tail_from),
        notes=_notes(judged, basis),
    )


def _line(frame: Frame, judged: _Judged, plan: Plan, task: Task) -> PlanLine:
    placed = next((row for row in plan.placed if row.id == task.id), None)
    standing = frame.standing[task.id]
    visit = task.appointment
    done = standing.state is State.DONE
    start = moment_of(frame.hour_zero, placed.start) if placed else standing.started
    finish = moment_of(frame.hour_zero, placed.finish) if placed else standing.finished
    return PlanLine(
        id=task.id,
        name=task.name,
        work_type=task.work_type,
        start=start,
        finish=finish,
        basis=_basis(judged, placed.finish) if placed else None,
        crew=task.crew,
        appointment=None if visit is None else visit.start,
        who="" if visit is None else visit.who,
        kept=None if visit is None or placed is None else task.id not in plan.moved,
        done=done,
        holds=() if done else standing_holds(task, frame.progress.entries),
    )


def _basis(judged: _Judged, finish: int) -> Basis:
    if finish <= judged.tail_from:
        return Basis.FORECAST
    return Basis.ASSUMED_FIT if judged.blind else Basis.CLIMATE


def _notes(judged: _Judged, basis: Basis | None) -> tuple[str, ...]:
    notes = []
    if judged.stale:
        notes.append("the forecast is too old: nothing is planned in the hours it reached")
    if judged.blind:
        notes.append(
            "no past years were given: past the forecast every shift hour is taken as fit, "
            "which no weather will be; give --climate FILE"
        )
    if basis is Basis.ASSUMED_FIT:
        notes.append("the close-in day is the earliest possible, not a day to count on")
    if judged.unseen:
        named = ", ".join(name.rsplit("_", 1)[0].replace("_", " ") for name in judged.unseen)
        notes.append(f"past the forecast nothing is known of {named}: no wait for it is planned")
    return tuple(notes)
