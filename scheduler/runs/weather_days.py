"""The weather-day record as of a moment: the log, the contract, forecasts as they were issued."""

from __future__ import annotations

from functools import partial

from rules.errors import BadInput
from scheduler.planning.contract.weather_day_record import WeatherDays, weather_days
from scheduler.planning.model.progress import progress_until
from scheduler.runs.desk import Desk, past_hours, told_before


def weather_day_record(desk: Desk) -> tuple[WeatherDays, ...]:
    """Return the record under each contract of the job.

    Raises
    ------
    BadInput
        If the job has no contract.
    Faults
        If a weather file cannot be read.
    """
    if not any(paper.kind == "contract" for paper in desk.job.documents):
        raise BadInput(
            f"{desk.job.name} has no contract; add a document of `kind: contract` with "
            "anticipated_days, counted_when_lost_share_at_least and notice_days"
        )
    entries = desk.store.entries(desk.job.id, until=desk.now if desk.replay else None)

    return weather_days(
        desk.job,
        progress_until(entries, desk.now),
        issued_before=partial(told_before, desk),
        observed=past_hours(desk),
        now=desk.now,
    )
