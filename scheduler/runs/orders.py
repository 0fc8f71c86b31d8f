"""By which day to order what: the plan of now, and the job's list of orders."""

from __future__ import annotations

from rules.errors import BadInput
from scheduler.planning.order_dates import OrderDates, order_dates
from scheduler.runs.desk import Desk, Gathered
from scheduler.runs.plan import plan


def orders(desk: Desk) -> tuple[OrderDates, Gathered]:
    """Return the order dates, and what they were made from.

    Raises
    ------
    BadInput
        If the job has no orders.
    CloseinError
        If the weather cannot be had or read.
    """
    if not desk.job.orders:
        raise BadInput(f"{desk.job.name} has no orders; list them under `orders` in the job file")
    planned, gathered = plan(desk)
    found = order_dates(
        desk.job,
        planned.answer.tasks,
        planned.weather,
        hour_zero=planned.frame.hour_zero,
        now=desk.now,
    )
    return found, gathered
