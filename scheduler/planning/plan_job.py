"""Rebuild the rest of a job from now: weather to tables, tables to plan, plan to date and margin.

Pure: everything it looks at is handed in, and the same inputs give the same answer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np

from rules.book import Book
from scheduler.planning.evidence.book_waits import as_old_as_asked
from scheduler.planning.evidence.read_weather import weather_read, with_readings
from scheduler.planning.forecast.climate_years import ClimateYears
from scheduler.planning.forecast.ensemble_line import members_of
from scheduler.planning.forecast.past_hours import bridged
from scheduler.planning.forecast.scenarios import Scenarios, scenarios
from scheduler.planning.levers.trials import Tried, with_room
from scheduler.planning.model.calendars import moment_of
from scheduler.planning.model.frame import frame_of, is_stale, planned_hours, season_end
from scheduler.planning.model.job import Job
from scheduler.planning.model.log import Progress
from scheduler.planning.model.steps import (
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
from scheduler.planning.money.plan_money import plan_money
from scheduler.planning.open_house.closein_date import closein_date
from scheduler.planning.open_house.closing_work import work_runs_out
from scheduler.planning.open_house.exposure_readings import as_found
from scheduler.planning.open_house.winter_stop import winter_stop
from scheduler.planning.plan.book_holds import with_book_holds
from scheduler.planning.plan.collisions import collision_lines
from scheduler.planning.plan.gates import fresh_lines, gate_lines, held_notes
from scheduler.planning.plan.judged_job import (
    judge,
    problem_of,
    protections_of,
    replayed_plan,
    strength_of,
    with_costs,
    with_weather_waits,
)
from scheduler.planning.plan.lines import (
    answer_of,
    closing_finishes,
    fit_hours_left,
    open_parts_of,
    opened_at,
)
from scheduler.planning.plan.odds import with_odds
from scheduler.planning.plan.plan_before import starts_before
from scheduler.planning.plan.planned import Planned
from scheduler.planning.schedule.solve import solve
from scheduler.planning.strength.logged_breaks import own_mixes
from scheduler.planning.tables.finish import NEVER
from scheduler.planning.tables.hours import Forecast, HourlyTable
from scheduler.planning.windows.look_back import hours_before


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
    earlier: Sequence[Forecast] = (),
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
    earlier : Forecast
        Forecasts kept before this one, oldest first: they fill short holes of what was observed.
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
            forecast=with_readings(table, weather_read(job, progress.entries, now)),
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
    frame = frame_of(
        as_old_as_asked(job, book, progress, now),
        progress,
        hour_zero=zero,
        hours=traces.table.hours,
        now_hour=0,
    )
    watch(VERDICTS)
    judged = judge(
        frame,
        book,
        traces,
        stale=is_stale(forecast, now),
        blind=climate is None,
        before=hours_before(zero, forecast.table, observed),
    )
    watch(STRENGTH)
    mixes = own_mixes(frame)
    past = bridged(observed, (*earlier, forecast), moment=zero)
    strength = strength_of(frame, judged, traces, mixes, past)
    stands = problem_of(frame, judged, strength)
    watch(SCHEDULE)
    protections = protections_of(frame, book, judged, strength)
    problem = with_costs(with_weather_waits(stands, judged), protections.costs())
    plan = solve(problem, previous=starts_before(frame, before or {}))
    watch(ODDS)
    told = replayed_plan(frame, judged, strength, plan)
    watch(DATE)
    found, fresh = None, traces
    if climate is not None:
        if judged.stale:
            fresh = weather_from(HourlyTable(forecast.table.start, {}), climate)
        found = closein_date(
            job=replace(job, exposure=as_found(job.exposure, progress)),
            weather=fresh,
            planned=moment_of(zero, plan.close_in) if plan.close_in < NEVER else None,
            closed=None if told is None else told.close_in.astype(np.int64),
            open_from=opened_at(frame, plan),
            more=() if judged.stale else work_runs_out(closing_finishes(frame, judged)),
        )
    answer = with_book_holds(answer_of(frame, judged, plan, found, now), frame, book)
    if told is not None:
        answer = with_odds(answer, frame, stands, told, traces)
    if compared:
        return Planned(answer, plan, problem, frame, traces, told, judged.hourly(), judged.many)
    watch(LEVERS)
    rest = Tried(frame, book, judged, strength, plan, told, fresh, problem, mixes, past)
    answer = with_room(answer, rest, found, pairs)
    watch(STOP_AND_MONEY)
    stop = winter_stop(frame, book, fresh, chance=None if found is None else found.chance)
    opened = opened_at(frame, plan)
    answer = replace(
        answer,
        gates=gate_lines(frame, plan, strength),
        fresh=fresh_lines(frame, plan, strength),
        collisions=collision_lines(frame, problem, plan),
        stop=stop,
        money=plan_money(protections, plan, problem, opened=opened),
        open_parts=open_parts_of(frame, plan),
        fit_hours=() if judged.blind or judged.stale else fit_hours_left(frame, judged),
        notes=(*held_notes(frame, strength), *notes, *answer.notes, *mixes.notes),
    )
    return Planned(answer, plan, problem, frame, traces, told, judged.hourly(), judged.many)


def _about(climate: ClimateYears) -> tuple[str, ...]:
    """Return what a person should know of the past years."""
    years = f"{climate.years[0]} to {climate.years[-1]}"
    noticed = [finding.what for finding in climate.findings]
    return (f"past years: {climate.station}, {years}", *noticed)
