"""Order dates as a table, as CSV and as a document."""

from __future__ import annotations

from collections.abc import Mapping

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from scheduler.output.csv_text import csv_text
from scheduler.output.words import clock, day
from scheduler.planning.model.job import Job
from scheduler.planning.reports.order_dates import OrderDate, OrderDates

HEADER = ("Order by", "What", "How much", "For", "Needed", "Days ahead", "From")


def orders_table(found: OrderDates, job: Job) -> RenderableType:
    """Return one row a thing, soonest first, and the first cold night under it."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in HEADER:
        table.add_column(
            title, justify="right" if title == "Days ahead" else "left", overflow="fold"
        )
    for row in order_rows(found, job):
        table.add_row(*row)
    return Group(table, *(Text(line) for line in order_notes(found, job)))


def order_rows(found: OrderDates, job: Job) -> list[tuple[str, ...]]:
    """Return the rows as people read them."""
    return [
        (
            _by(row, job.site.time_zone),
            row.order.what,
            f"{row.order.amount:g} {row.order.unit}",
            row.task,
            _needed(row, job.site.time_zone),
            str(row.order.lead_days),
            "" if row.order.from_whom == "-" else row.order.from_whom,
        )
        for row in found.rows
    ]


def order_notes(found: OrderDates, job: Job) -> list[str]:
    """Return what is told under the table."""
    notes = []
    if any(row.late for row in found.rows):
        notes.append("LATE: ask for a shorter delivery, or the plan must wait for it.")
    if found.first_cold_night is not None:
        night = day(found.first_cold_night, job.site.time_zone)
        notes.append(f"A freezing night has come by {night} in one of ten scenarios.")
    return notes


def orders_csv(found: OrderDates, job: Job) -> str:
    """Return the same rows as CSV."""
    return csv_text(HEADER, order_rows(found, job))


def orders_document(found: OrderDates) -> Mapping[str, object]:
    """Return the documented JSON."""
    rows = [
        {
            "what": row.order.what,
            "amount": row.order.amount,
            "unit": row.order.unit,
            "for_task": row.order.for_task,
            "needed": row.needed,
            "earliest": row.earliest,
            "lead_days": row.order.lead_days,
            "order_by": row.order_by,
            "late": row.late,
        }
        for row in found.rows
    ]
    return {
        "version": "closein-orders/1",
        "orders": rows,
        "first_cold_night": found.first_cold_night,
    }


def _by(row: OrderDate, zone: str) -> str:
    if row.order_by is None:
        return "not known"
    return day(row.order_by, zone) + (" LATE" if row.late else "")


def _needed(row: OrderDate, zone: str) -> str:
    if row.needed is None:
        return "not in the plan"
    first = row.earliest
    early = f", as early as {clock(first, zone)}" if first and first < row.needed else ""
    return clock(row.needed, zone) + early
