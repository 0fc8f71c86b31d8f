"""What the weather does to this job's house while it stays open, limit by limit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from rules.exposure import HourNumbers, first_below
from rules.indoor import indoor_temperature
from scheduler.planning.hours import HourlyTable
from scheduler.planning.job import Job

INDOOR_AIR: Final = "indoor_air"
WATER_LINES: Final = "water_lines"


@dataclass(frozen=True, slots=True)
class Breach:
    """The first hour at which one limit is passed, house left open, for every weather trace."""

    limit: str  # indoor_air, water_lines, ...
    allowed: str  # in words, SI
    source: str  # of the limit and its formula
    passed: HourNumbers  # (...,) of the table's leading axes; NEVER where it is not
    unknown: HourNumbers  # first hour whose weather is not known


def breaches(job: Job, table: HourlyTable) -> tuple[Breach, ...]:
    """Return the breaches of every limit the job sets, house left open from the first hour.

    Parameters
    ----------
    job : Job
        Its exposure limits.
    table : HourlyTable
        Weather ``(..., hours)``.
    """
    return (_indoor_air(job, table), *_water_lines(job, table))


def _indoor_air(job: Job, table: HourlyTable) -> Breach:
    limits = job.exposure
    _, lowest = indoor_temperature(
        air_temperature_c=_air(table),
        time_constant_h=limits.time_constant_h,
        indoor_start_c=limits.indoor_start_c,
    )
    return Breach(
        INDOOR_AIR,
        f"indoor air above {limits.indoor_freezing_c:g} °C",
        "first-order cool-down of one zone; time constant of the open house from the job",
        *first_below(lowest, limits.indoor_freezing_c),
    )


def _water_lines(job: Job, table: HourlyTable) -> tuple[Breach, ...]:
    """Water in lines that hang in the open follows the outdoor air; room heat does not help."""
    if not job.exposure.water_lines_hang:
        return ()
    return (
        Breach(
            WATER_LINES,
            "outdoor air at hanging water lines above 0 °C",
            "water freezes at 0 °C; lines in open air take the air's temperature",
            *first_below(_air(table), 0.0),
        ),
    )


def _air(table: HourlyTable) -> np.ndarray:
    return table.column("air_temperature_c")
