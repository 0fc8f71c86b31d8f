"""Answers that were given: when, what, and on which log and forecast."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import RenderableType
from rich.table import Table

from scheduler.interfaces.records import Decision
from scheduler.output.words import clock
from scheduler.planning.model.job import Job


def kept_table(decisions: Sequence[Decision], job: Job) -> RenderableType:
    """Return one line an answer, oldest first."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in ("Number", "Kind", "As of", "Log entry", "Weather", "Rule book"):
        table.add_column(title, overflow="fold")
    for row in decisions:
        made = row.inputs
        weather = " ".join(f"{role} {name[:8]}" for role, name in made.forecasts)
        table.add_row(
            str(row.seq),
            row.kind,
            clock(row.at, job.site.time_zone),
            str(made.log_position),
            weather or "–",
            made.book[:8],
        )
    return table
