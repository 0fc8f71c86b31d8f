"""The odds of a job's season: freezes, dry days, planned windows, workable hours that are left.

Counted over the scenarios that the plan rests on: inside the forecast with its error, past it past
years.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np

from rules.book import Book
from rules.columns import columns
from rules.conditions import fixed_conditions
from rules.exposure import NEVER as NO_DAY
from rules.quantities import inputs_of, weather_columns
from rules.units import convert
from scheduler.planning.evidence.facts import asked_of
from scheduler.planning.forecast.scenarios import UNKNOWN, Scenarios, few_years
from scheduler.planning.forecast.weather_odds import (
    PERCENTS,
    Days,
    day_of_share,
    dry_runs,
    first_day_odds,
    workable_left,
)
from scheduler.planning.model.frame import shift_of
from scheduler.planning.model.job import Task
from scheduler.planning.plan.planned import Planned
from scheduler.planning.replay.limit_odds import LimitOdds, limit_odds
from scheduler.planning.windows.task_weather import MAY

FREEZES_F: Final = (32.0, 28.0, 24.0)  # thresholds of NOAA's freeze date normals
DRY_DAYS: Final = (1, 2, 3)
SHOWN_DAYS: Final = 14  # days for which runs of dry days are told


@dataclass(frozen=True, slots=True)
class FreezeOdds:
    """First night at or under a temperature."""

    at_c: float
    days: dict[int, date | None]  # by percent of scenarios; None: not within the season
    by_week: tuple[tuple[date, float | None], ...]  # share of scenarios by then
    years_by_week: tuple[tuple[date, int | None], ...]  # in so many years, where they are few


@dataclass(frozen=True, slots=True)
class DryOdds:
    """Dry days on end; where the past years are too few for a chance, in how many of them."""

    length: int
    from_day: tuple[tuple[date, float], ...]  # chance that they begin on the day
    by_day: tuple[tuple[date, float], ...]  # chance that such a run has ended by the evening
    years_from_day: tuple[tuple[date, int], ...]
    years_by_day: tuple[tuple[date, int], ...]


@dataclass(frozen=True, slots=True)
class WindowOdds:
    """A task's planned hours: the chance that its work, begun as planned, is done as planned."""

    task: str
    name: str
    chance: float | None  # None: the past years are too few, or lack weather
    years: int | None  # in so many past years, where they are too few for a chance
    not_known: tuple[str, ...]  # columns that the work looks at and nobody knows


@dataclass(frozen=True, slots=True)
class HoursLeft:
    """Workable hours of the task's own shifts from now to the season's end."""

    task: str
    work_type: str
    hours: dict[int, float]  # by percent: no more than so many in that share of scenarios
    least_most: tuple[float, float] | None  # in any scenario, where the past years are few
    not_known: tuple[str, ...]  # columns that the work looks at and nobody knows


@dataclass(frozen=True, slots=True)
class JobOdds:
    """Everything that is said of the season."""

    scenarios: int
    years: int
    freezes: tuple[FreezeOdds, ...]
    dry: tuple[DryOdds, ...]
    windows: tuple[WindowOdds, ...]
    left: tuple[HoursLeft, ...]
    limits: tuple[LimitOdds, ...]  # not more than so many hours after, the worst first
    notes: tuple[str, ...]


def job_odds(planned: Planned, book: Book) -> JobOdds:
    """Return the odds that the scenarios of a plan give.

    Parameters
    ----------
    planned : Planned
        Made with past years: without them there are no odds past the forecast. Of fewer than
        ``FEWEST_YEARS`` no shares are told, but in how many of them something is so.
    book : Book
        The job's rows: they say which weather a task looks at.
    """
    weather, frame = planned.weather, planned.frame
    days = Days.of(frame.job.site.time_zone, hour_zero=frame.hour_zero, hours=frame.hours)
    lows = np.atleast_2d(days.lows(weather.table.column("air_temperature_c")))
    rain_known = np.isfinite(weather.table.column("precipitation_amount_mm")).all()
    notes = () if rain_known else ("rain is not known in every hour: no dry days are told",)
    if planned.told is None and _any_limit(planned):
        notes = (*notes, "the plan is not replayed: how often limits are broken is not known")
    if not weather.carries_shares:
        notes = (*notes, few_years(weather.years))
    limits: tuple[LimitOdds, ...] = ()
    if planned.told is not None:
        limits = limit_odds(frame, planned.problem, planned.told, weather)
    return JobOdds(
        scenarios=weather.count,
        years=weather.years,
        freezes=tuple(_freeze(weather, days, lows, limit) for limit in FREEZES_F),
        dry=tuple(_dry(planned, days, n) for n in DRY_DAYS) if rain_known else (),
        windows=tuple(_windows(planned, book)),
        left=tuple(_left(planned, days, book)),
        limits=limits,
        notes=notes,
    )


def _any_limit(planned: Planned) -> bool:
    return any(link.within_h is not None for t in planned.frame.open_tasks for link in t.after)


def _freeze(weather: Scenarios, days: Days, lows: np.ndarray, limit_f: float) -> FreezeOdds:
    limit = convert(limit_f, "degF", "degC")
    weeks = range(0, len(days.days), 7)
    if not weather.carries_shares:
        with np.errstate(invalid="ignore"):
            passed = np.logical_or.accumulate(lows <= limit, axis=-1)
        known = ~np.isnan(lows).any(axis=0)
        told = (
            (n, weather.counted(passed[:, n])[1] if known[: n + 1].all() else None) for n in weeks
        )
        return FreezeOdds(limit, {}, (), tuple((days.days[n], years) for n, years in told))
    first, odds = first_day_odds(lows, limit)
    found = {percent: _day(days, day_of_share(first, percent)) for percent in PERCENTS}
    by_week = tuple((days.days[n], None if np.isnan(odds[n]) else float(odds[n])) for n in weeks)
    return FreezeOdds(limit, found if first.size else dict.fromkeys(PERCENTS), by_week, ())


def _day(days: Days, number: float) -> date | None:
    """Return the day of a number; the first one where the share has passed before it."""
    if number >= min(NO_DAY, len(days.days)):
        return None
    return days.days[max(int(number), 0)] if np.isfinite(number) else days.days[0]


def _dry(planned: Planned, days: Days, length: int) -> DryOdds:
    weather = planned.weather
    runs, ended = dry_runs(weather.table, days, length)
    shown = range(min(SHOWN_DAYS, len(days.days)))
    told = [
        [(days.days[n], weather.counted(np.atleast_2d(each)[:, n])) for n in shown]
        for each in (runs, ended)
    ]
    from_day, by_day = (tuple((at, s) for at, (s, _) in row if s is not None) for row in told)
    in_years = [tuple((at, y) for at, (_, y) in row if y is not None) for row in told]
    return DryOdds(length, from_day, by_day, *in_years)


def _windows(planned: Planned, book: Book) -> list[WindowOdds]:
    """Return for each planned task how often its planned hours do."""
    tasks = {task.id: task for task in planned.frame.job.tasks}
    made = []
    for row in sorted(planned.plan.placed, key=lambda one: one.start):
        told, task = planned.many[row.id], tasks[row.id]
        if (told.guessed & told.shift)[row.start : row.finish].any():
            missing = _missing(planned, book, task)
            made.append(WindowOdds(row.id, task.name, None, None, missing))
            continue
        finish = np.atleast_2d(told.finish)[:, row.start]
        counted = planned.weather.counted(finish <= row.finish)
        made.append(WindowOdds(row.id, task.name, *counted, ()))
    return made


def _left(planned: Planned, days: Days, book: Book) -> list[HoursLeft]:
    made = []
    for task in planned.frame.open_tasks:
        told = planned.many[task.id]
        shift = shift_of(planned.frame, task)
        if (told.guessed & shift).any():
            missing = _missing(planned, book, task)
            made.append(HoursLeft(task.id, task.work_type, {}, None, missing))
            continue
        fit = np.atleast_2d((told.by_hour <= MAY) & shift)
        left = workable_left(fit, days)
        hours, span = {p: float(left[p][0]) for p in PERCENTS}, None
        if not planned.weather.carries_shares:
            each = fit.sum(axis=-1)
            hours, span = {}, (float(each.min()), float(each.max()))
        made.append(HoursLeft(task.id, task.work_type, hours, span, ()))
    return made


def _missing(planned: Planned, book: Book, task: Task) -> tuple[str, ...]:
    """Return the weather that a task's rows look at and that is not known in every hour."""
    frame, known = planned.frame, planned.weather.origin
    asked = asked_of(frame, task)
    looked: dict[str, None] = {}
    for row in book.rows_for(task.work_type):
        if fixed_conditions(row, asked) is not False:
            plain = weather_columns().get(row.quantity)
            names = (
                [plain[0]] if plain else [name for name, must in inputs_of(row.quantity) if must]
            )
            looked |= dict.fromkeys(names)
    gone = [
        n for n in looked if n in columns() and (n not in known or (known[n] == UNKNOWN).any())
    ]
    return tuple(gone) or ("weather that the rules of the work look at",)
