"""By which day to order what: the plan of now, and the job's list of orders."""

from __future__ import annotations

from datetime import datetime
from typing import Final

from rules.errors import BadInput
from scheduler.planning.climate_years import ClimateYears
from scheduler.planning.job_book import job_book
from scheduler.planning.order_dates import OrderDates, order_dates
from scheduler.planning.plan_job import Planned
from scheduler.runs.desk import Desk, Gathered, gather, keep
from scheduler.runs.plan import planned_of, with_climate

EARLY: Final = 0.1  # the share of scenarios in which the weather lets work begin so early


def orders(desk: Desk) -> OrderDates:
    """Return the order dates of the job; the weather read is kept.

    Raises
    ------
    BadInput
        If the job has no orders.
    CloseinError
        If the weather cannot be had or read.
    """
    if not desk.job.orders:
        raise BadInput(f"{desk.job.name} has no orders; list them under `orders` in the job file")
    gathered, climate = with_climate(desk, gather(desk, command="orders"))
    planned = planned_of(desk, gathered, climate, job_book(desk.job))
    keep(desk, gathered)
    return dates_of(desk, gathered, climate, planned)


def dates_of(
    desk: Desk, gathered: Gathered, climate: ClimateYears | None, planned: Planned
) -> OrderDates:
    """Return the order dates against a plan, and against how early its tasks could begin."""
    early: dict[str, datetime] = {}
    if climate is not None and desk.job.orders:
        soonest = planned_of(desk, gathered, climate, job_book(desk.job), share=EARLY)
        early = {line.id: line.start for line in soonest.answer.tasks if line.start is not None}
    return order_dates(
        desk.job,
        planned.answer.tasks,
        planned.weather,
        early=early,
        hour_zero=planned.frame.hour_zero,
        now=desk.now,
    )
