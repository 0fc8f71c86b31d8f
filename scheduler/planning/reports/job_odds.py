"""The odds of a job's season: freezes, dry days, planned windows, workable hours that are left.

Counted over the scenarios that the plan rests on: inside the forecast with its error, past it past
years.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np

from rules.exposure import NEVER as NO_DAY
from rules.units import convert
from scheduler.planning.forecast.weather_odds import (
    PERCENTS,
    Days,
    day_of_share,
    dry_run_odds,
    first_day_odds,
    workable_left,
)
from scheduler.planning.model.frame import shift_of
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


@dataclass(frozen=True, slots=True)
class DryOdds:
    """Dry days on end."""

    length: int
    from_day: tuple[tuple[date, float], ...]  # chance that they begin on the day
    by_day: tuple[tuple[date, float], ...]  # chance that such a run has ended by the evening


@dataclass(frozen=True, slots=True)
class WindowOdds:
    """A task's planned hours: the chance that its work, begun as planned, is done as planned."""

    task: str
    name: str
    chance: float


@dataclass(frozen=True, slots=True)
class HoursLeft:
    """Workable hours of the task's own shifts from now to the season's end."""

    task: str
    work_type: str
    hours: dict[int, float]  # by percent: no more than so many in that share of scenarios


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


def job_odds(planned: Planned) -> JobOdds:
    """Return the odds that the scenarios of a plan give.

    Parameters
    ----------
    planned : Planned
        Made with past years: without them there are no odds past the forecast.
    """
    weather, frame = planned.weather, planned.frame
    days = Days.of(frame.job.site.time_zone, hour_zero=frame.hour_zero, hours=frame.hours)
    lows = np.atleast_2d(days.lows(weather.table.column("air_temperature_c")))
    rain_known = np.isfinite(weather.table.column("precipitation_amount_mm")).any()
    notes = () if rain_known else ("rain is not known in any scenario: no dry days are told",)
    if planned.told is None and _any_limit(planned):
        notes = (*notes, "the plan is not replayed: how often limits are broken is not known")
    return JobOdds(
        scenarios=weather.count,
        years=weather.years,
        freezes=tuple(_freeze(days, lows, limit) for limit in FREEZES_F),
        dry=tuple(_dry(planned, days, n) for n in DRY_DAYS) if rain_known else (),
        windows=tuple(_windows(planned)),
        left=tuple(_left(planned, days)),
        limits=() if planned.told is None else limit_odds(frame, planned.problem, planned.told),
        notes=notes,
    )


def _any_limit(planned: Planned) -> bool:
    return any(link.within_h is not None for t in planned.frame.open_tasks for link in t.after)


def _freeze(days: Days, lows: np.ndarray, limit_f: float) -> FreezeOdds:
    limit = convert(limit_f, "degF", "degC")
    first, odds = first_day_odds(lows, limit)
    told = {percent: _day(days, day_of_share(first, percent)) for percent in PERCENTS}
    weeks = range(0, len(days.days), 7)
    by_week = tuple((days.days[n], None if np.isnan(odds[n]) else float(odds[n])) for n in weeks)
    return FreezeOdds(limit, told if first.size else dict.fromkeys(PERCENTS), by_week)


def _day(days: Days, number: float) -> date | None:
    """Return the day of a number; the first one where the share has passed before it."""
    if number >= min(NO_DAY, len(days.days)):
        return None
    return days.days[max(int(number), 0)] if np.isfinite(number) else days.days[0]


def _dry(planned: Planned, days: Days, length: int) -> DryOdds:
    from_day, by_day = dry_run_odds(planned.weather.table, days, length)
    shown = min(SHOWN_DAYS, len(days.days))
    return DryOdds(
        length,
        tuple((days.days[n], float(from_day[n])) for n in range(shown)),
        tuple((days.days[n], float(by_day[n])) for n in range(shown)),
    )


def _windows(planned: Planned) -> list[WindowOdds]:
    """Return for each planned task the share of scenarios in which its planned hours do."""
    names = {task.id: task.name for task in planned.frame.job.tasks}
    made = []
    for row in sorted(planned.plan.placed, key=lambda one: one.start):
        finish = np.atleast_2d(planned.many[row.id].finish)[:, row.start]
        made.append(WindowOdds(row.id, names[row.id], float((finish <= row.finish).mean())))
    return made


def _left(planned: Planned, days: Days) -> list[HoursLeft]:
    made = []
    for task in planned.frame.open_tasks:
        told = planned.many[task.id]
        fit = np.atleast_2d((told.by_hour <= MAY) & shift_of(planned.frame, task))
        left = workable_left(fit, days)
        made.append(HoursLeft(task.id, task.work_type, {p: float(left[p][0]) for p in PERCENTS}))
    return made
