"""What the open house goes through by day: outdoor lows, indoor lows, frost, water through it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date
from typing import Final

import numpy as np

from rules.verdict import FloatArray
from scheduler.planning.forecast.scenarios import FORECAST, TEMPERATURE, Scenarios
from scheduler.planning.forecast.weather_odds import Days
from scheduler.planning.model.job import Job
from scheduler.planning.open_house.open_house import INDOOR_AIR, courses

PERCENTS: Final = (10, 50, 90)


@dataclass(frozen=True, slots=True)
class DayCourse:
    """The worst of each day of what one limit looks at: frost depth, water inside, gusts."""

    limit: str
    unit: str
    high: FloatArray  # (3, days) at 10, 50, 90 %
    at: float  # what must not be passed


@dataclass(frozen=True, slots=True)
class ExposureDays:
    """Daily lows in 10, 50 and 90 of 100 scenarios, house left open from the first hour."""

    days: tuple[date, ...]
    outdoor_low_c: FloatArray  # (3, days) at 10, 50, 90 %
    indoor_low_c: FloatArray  # (3, days)
    limit_c: float  # indoor air that counts as freezing
    forecast_until: date  # last day that rests on the forecast alone
    others: tuple[DayCourse, ...] = ()  # what the job's other limits look at


def exposure_days(job: Job, weather: Scenarios) -> ExposureDays:
    """Return the daily lows outside and inside.

    Parameters
    ----------
    job : Job
        Its exposure and time zone.
    weather : Scenarios
        From now on.
    """
    first = weather.table.start[0].astype("datetime64[s]").item().replace(tzinfo=UTC)
    days = Days.of(job.site.time_zone, hour_zero=first, hours=weather.table.hours)
    every = {course.limit: course for course in courses(job, weather.table)}
    inside = every.pop(INDOOR_AIR).values
    told = int((weather.origin[TEMPERATURE] == FORECAST).sum())
    last = int(np.searchsorted(days.edges, max(told - 1, 0), side="right")) - 1
    return ExposureDays(
        days=days.days,
        outdoor_low_c=_spread(days.lows(weather.table.column(TEMPERATURE))),
        indoor_low_c=_spread(days.lows(inside)),
        limit_c=job.exposure.indoor_freezing_c,
        forecast_until=days.days[last],
        others=tuple(
            DayCourse(one.limit, one.unit, _spread(days.highs(one.values)), one.at)
            for one in every.values()
            if not one.low
        ),
    )


def _spread(lows: FloatArray) -> FloatArray:
    """Return the three marks over scenarios; NaN on days that any scenario does not know."""
    spread: FloatArray = np.percentile(lows.reshape(-1, lows.shape[-1]), PERCENTS, axis=0)
    return spread
