"""The weather-day record as of a moment: the log, the contract, forecasts as they were issued."""

from __future__ import annotations

from datetime import datetime

from rules.errors import BadInput
from scheduler.planning.hours import Forecast
from scheduler.planning.progress import progress_until
from scheduler.planning.weather_day_record import WeatherDays, weather_days
from scheduler.runs.desk import Desk, past_hours


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

    def issued_before(moment: datetime) -> Forecast | None:
        kept = desk.store.forecasts_until(desk.job.id, moment)
        if not kept:
            return None
        newest = kept[-1]
        return desk.parse(newest.source, desk.store.forecast_bytes(newest.identity))

    return weather_days(
        desk.job,
        progress_until(entries, desk.now),
        issued_before=issued_before,
        observed=past_hours(desk),
        now=desk.now,
    )
