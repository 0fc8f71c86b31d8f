"""The plan of a job as of a moment: gather, plan, keep."""

from __future__ import annotations

from dataclasses import replace

from rules.book import Book
from scheduler.planning.forecast.climate_years import ClimateYears
from scheduler.planning.model.frame import planned_hours
from scheduler.planning.model.job_book import job_book
from scheduler.planning.model.steps import READING, Watch, unwatched
from scheduler.planning.plan.planned import Planned
from scheduler.planning.plan_job import plan_job
from scheduler.runs.desk import CLIMATE, Desk, Gathered, RawWeather, gather, identity, keep


def plan(
    desk: Desk, *, pairs: int | None = None, watch: Watch = unwatched
) -> tuple[Planned, Gathered]:
    """Return the plan and what it was made from; the weather read is kept.

    Raises
    ------
    CloseinError
        If the weather cannot be had or read.
    """
    watch(READING)
    gathered = gather(desk, command="plan")
    gathered, climate = with_climate(desk, gathered)
    planned = planned_of(desk, gathered, climate, job_book(desk.job), pairs=pairs, watch=watch)
    keep(desk, gathered)
    return planned, gathered


def with_climate(desk: Desk, gathered: Gathered) -> tuple[Gathered, ClimateYears | None]:
    """Return past years cut to the season that is planned.

    Those given now, else the last ones given before; None where there never were any.
    """
    weather = desk.climate() or given_before(desk)
    if weather is None:
        return gathered, None
    start, hours = planned_hours(desk.job, desk.now)
    climate = desk.parse_climate(weather.source, weather.raw, start, hours)
    files = (*gathered.inputs.forecasts, (CLIMATE, identity(weather)))
    inputs = replace(gathered.inputs, forecasts=files)
    kept = (*gathered.kept, (CLIMATE, weather, None))
    return replace(gathered, inputs=inputs, kept=kept), climate


def given_before(desk: Desk) -> RawWeather | None:
    """Return the past years that were given last; None where none ever were."""
    rows = desk.store.forecasts_until(desk.job.id, desk.now, role=CLIMATE)
    if not rows:
        return None
    last = max(rows, key=lambda row: row.received_at)
    return RawWeather(desk.store.forecast_bytes(last.identity), last.source, last.received_at)


def planned_of(
    desk: Desk,
    gathered: Gathered,
    climate: ClimateYears | None,
    book: Book,
    *,
    pairs: int | None = None,
    compared: bool = False,
    watch: Watch = unwatched,
) -> Planned:
    """Plan what was gathered; with ``compared`` only what another plan is compared with."""
    return plan_job(
        gathered.job,
        book=book,
        progress=gathered.progress,
        forecast=gathered.forecast,
        climate=climate,
        now=gathered.now,
        seed=desk.seed,
        count=desk.scenarios,
        observed=None if gathered.observed is None else gathered.observed.table,
        earlier=gathered.earlier,
        before=gathered.before,
        pairs=pairs,
        compared=compared,
        watch=watch,
    )
