"""What a job takes, as a table, as CSV and as a document."""

from __future__ import annotations

from collections.abc import Mapping

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from scheduler.newjob.answers import length_text
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
    return Group(table, *_wall(counted), *_steps(counted), Text(f"\n{NOTE}"))


def _wall(counted: Counted) -> list[RenderableType]:
    """Return one course, run by run."""
    wall, units = counted.wall, counted.numbers.units
    if wall is None:
        return []
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in ("Run", "Length", "Whole", "Half", "Cut"):
        table.add_column(title, justify="right")
    for number, run in enumerate(wall.runs, 1):
        length = length_text(run.length_m, units)
        table.add_row(str(number), length, str(run.whole), str(run.half), str(run.cut))
    return [Text(f"\nOne of {wall.courses} courses, run by run"), table]


def _steps(counted: Counted) -> list[RenderableType]:
    """Return the steps of the lift, with the cribbing after each."""
    if not counted.steps:
        return []
    units = counted.numbers.units
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in ("Step", "Rise", "Raised", "Layers more", "Timbers more"):
        table.add_column(title, justify="right")
    for number, step in enumerate(counted.steps, 1):
        rise, raised = (
            length_text(value, units, small=True) for value in (step.rise_m, step.raised_m)
        )
        table.add_row(str(number), rise, raised, str(step.layers), str(step.timbers))
    towers = counted.numbers.towers
    return [Text(f"\nThe lift on {towers} towers, cribbing after each step"), table]


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
    return {
        "version": "closein-amounts/1",
        "kind": counted.numbers.kind.value,
        "lines": lines,
        "wall": counted.wall,
        "steps": counted.steps,
    }


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
