"""The two pictures of the open house, written as a plan gives them."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from rules.errors import BadInput
from scheduler.output.date_chart import format_of
from scheduler.output.files import write_file
from scheduler.output.risk_chart import exposure_chart, risk_chart
from scheduler.planning.forecast.scenarios import FEWEST_YEARS, few_years
from scheduler.planning.model.job import Job
from scheduler.planning.open_house.exposure_days import exposure_days
from scheduler.planning.plan.planned import Planned


def draw(planned: Planned, job: Job, *, risk: Path | None, exposure: Path | None) -> None:
    """Write the pictures that are asked for.

    Raises
    ------
    BadInput
        If no past years were given, or too few to draw anything, or a name ends wrong.
    """
    answer = planned.answer
    if answer.date is None:
        raise BadInput("there is no risk to draw without past years; give --climate FILE")
    if answer.date.years < FEWEST_YEARS:
        raise BadInput(f"no picture of shares: {few_years(answer.date.years)}")
    seen = exposure_days(job, planned.weather)
    if risk is not None:
        zone = ZoneInfo(job.site.time_zone)
        odds = (_day(answer.middle_close_in, zone), _day(answer.late_close_in, zone))
        made = risk_chart(
            answer.date,
            job,
            forecast_until=seen.forecast_until,
            odds=odds,
            kind=format_of(risk.name),
        )
        write_file(risk, made)
    if exposure is not None:
        write_file(exposure, exposure_chart(seen, job, kind=format_of(exposure.name)))


def _day(moment: datetime | None, zone: ZoneInfo) -> date | None:
    return None if moment is None else moment.astimezone(zone).date()
