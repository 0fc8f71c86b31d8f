"""The weather-day record for paper, one section a contract."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from scheduler.output.sheets.sheet import Grid, Section, Sheet
from scheduler.output.weather_days_table import HEADER, NO_ADVICE, count_lines, day_rows
from scheduler.planning.contract.weather_day_record import WeatherDays
from scheduler.planning.model.job import Job

NAME: Final = "weather_days"


def weather_days(job: Job, found: Sequence[WeatherDays], *, under: str) -> Sheet | None:
    """Return the record; None where no contract has a lost day."""
    sections = [
        Section(
            f"Contract {record.contract.id}",
            lines=tuple(count_lines(record, job)),
            grid=Grid(HEADER, tuple(day_rows(record, job)), (4, 4, 3, 4, 3, 3, 6, 7, 7)),
        )
        for record in found
        if record.rows
    ]
    if not sections:
        return None
    return Sheet(
        NAME, f"Weather days: {job.name}", under, tuple(sections), cautions=(NO_ADVICE,),
        signs=("Contractor, date", "Owner, date"),
    )  # fmt: skip
