"""The demo as a reader sees it, and as a picture of just that."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from io import StringIO

from rich.console import Console, Group, RenderableType
from rich.terminal_theme import DEFAULT_TERMINAL_THEME
from rich.text import Text

from scheduler.output.log_table import log_table
from scheduler.output.plan_table import plan_table
from scheduler.output.screen import WIDTH
from scheduler.output.today_table import today_table
from scheduler.planning.model.answer import TaskAnswer
from scheduler.planning.model.job import Job
from scheduler.planning.model.log import Entry
from scheduler.planning.plan.plan_answer import PlanAnswer
from scheduler.planning.tables.hours import Forecast


@dataclass(frozen=True, slots=True)
class DemoSeen:
    """What the demo shows."""

    job: Job
    at: datetime
    subject: str
    answers: tuple[TaskAnswer, ...]
    forecast: Forecast
    before: PlanAnswer
    entries: tuple[Entry, ...]
    after: PlanAnswer


def demo_parts(seen: DemoSeen) -> RenderableType:
    """Return the morning, the plan and the rain delay, one under the other."""
    return Group(
        _head(f"{seen.job.name} – made scenario", seen.subject),
        today_table(seen.job, seen.answers, seen.forecast, at=seen.at),
        _head("The rest of the schedule", ""),
        plan_table(seen.before, seen.job),
        _head("A day lost to rain", ""),
        log_table(seen.entries, seen.before, seen.after, "", seen.job),
    )


def demo_picture(seen: DemoSeen) -> str:
    """Return what the demo prints as an SVG picture."""
    console = Console(record=True, width=WIDTH, file=StringIO(), highlight=False)
    console.print(demo_parts(seen))
    return console.export_svg(title="closein demo", theme=DEFAULT_TERMINAL_THEME, unique_id="demo")


def _head(title: str, under: str) -> RenderableType:
    text = Text(f"\n{title}", style="bold underline")
    return Group(text, Text(under)) if under else text
