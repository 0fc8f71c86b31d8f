"""By which day to order what: the plan of now, and the job's list of orders."""

from __future__ import annotations

from rules.errors import BadInput
from scheduler.planning.model.job_book import job_book
from scheduler.planning.plan.odds import early_starts
from scheduler.planning.plan.planned import Planned
from scheduler.planning.reports.order_dates import OrderDates, order_dates
from scheduler.runs.desk import Desk, gather, keep
from scheduler.runs.plan import planned_of, with_climate


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
    return dates_of(desk, planned)


def dates_of(desk: Desk, planned: Planned) -> OrderDates:
    """Return the order dates against a plan, and against how early its tasks begin by its odds."""
    return order_dates(
        desk.job,
        planned.answer.tasks,
        planned.weather,
        early=early_starts(planned.told, planned.frame)
        if planned.told is not None and planned.weather.carries_shares
        else {},
        hour_zero=planned.frame.hour_zero,
        now=desk.now,
    )
