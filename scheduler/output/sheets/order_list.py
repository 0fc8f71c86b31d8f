"""The order list: what, how much, by when, with room for the number and the day it came."""

from __future__ import annotations

from typing import Final

from scheduler.output.orders_table import order_notes, order_rows
from scheduler.output.sheets.sheet import Grid, Section, Sheet
from scheduler.planning.model.job import Job
from scheduler.planning.reports.order_dates import OrderDates

NAME: Final = "orders"


def order_list(job: Job, found: OrderDates, *, under: str) -> Sheet | None:
    """Return the list; None for a job without orders."""
    if not found.rows:
        return None
    rows = tuple(
        (row[0], row[1], row[2], row[3], row[4], "", "") for row in order_rows(found, job)
    )
    late = frozenset(n for n, row in enumerate(found.rows) if row.late)
    header = ("Order by", "What", "How much", "For", "Needed", "Ordered", "Came")
    section = Section(
        "Soonest first",
        lines=tuple(order_notes(found, job)),
        grid=Grid(header, rows, (4, 6, 4, 5, 5, 3, 3), late),
    )
    return Sheet(NAME, f"Order list: {job.name}", under, (section,))
