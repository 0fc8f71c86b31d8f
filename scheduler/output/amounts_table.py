"""What a job takes, as a table, as CSV and as a document."""

from __future__ import annotations

from collections.abc import Mapping

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from scheduler.newjob.order_units import net, ordered
from scheduler.newjob.takeoff import Counted
from scheduler.output.csv_text import csv_text

HEADER = ("What", "Net", "To order", "Unit", "Waste", "For", "Days ahead", "Source")
NOTE = (
    "The drawing, the supplier's own table and local codes go before every count here. Corner "
    "units are among the whole ones; bars upright, as dowels and in the beam are among the stock."
)


def amounts_table(counted: Counted) -> RenderableType:
    """Return one row a thing, what is ordered in people's units."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in HEADER:
        right = title in {"Net", "To order", "Waste", "Days ahead"}
        table.add_column(title, justify="right" if right else "left", overflow="fold")
    for row in _rows(counted):
        table.add_row(*row)
    return Group(table, Text(NOTE))


def amounts_csv(counted: Counted) -> str:
    """Return the same rows as CSV."""
    return csv_text(HEADER, _rows(counted))


def amounts_document(counted: Counted) -> Mapping[str, object]:
    """Return the documented JSON: SI amounts, and what is ordered in people's units."""
    units = counted.numbers.units
    lines = []
    for line in counted.lines:
        amount, unit = ordered(line, units)
        lines.append(
            {
                "key": line.key,
                "what": line.what,
                "net": round(line.net, 6),
                "net_unit": line.unit,
                "waste": line.waste,
                "order": amount,
                "order_unit": unit,
                "for_task": line.for_task,
                "lead_days": line.lead_days,
                "source": line.source,
            }
        )
    return {"version": "closein-amounts/1", "kind": counted.numbers.kind.value, "lines": lines}


def _rows(counted: Counted) -> list[tuple[str, ...]]:
    units = counted.numbers.units
    rows: list[tuple[str, ...]] = []
    for line in counted.lines:
        amount, unit = ordered(line, units)
        rows.append(
            (
                line.what,
                f"{net(line, units):.4g}",
                f"{amount:g}",
                unit,
                f"{line.waste:.0%}",
                line.for_task,
                str(line.lead_days),
                line.source,
            )
        )
    return rows
