"""What would buy chance and days, for a reader."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from scheduler.planning.plan_answer import Lever, PlanAnswer

LEVERS_VERSION = "closein-levers/1"
PRICES = "No lever is priced yet: they are in the order of the chance they buy."


def levers_table(plan: PlanAnswer) -> RenderableType:
    """Return a line for each change, the one that buys most first."""
    if plan.date is None or plan.date.chance is None:
        return Text("no chance is known without past years; give --climate FILE")
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in ("What", "Chance", "Up by", "Middle close-in sooner by"):
        table.add_column(title, overflow="fold")
    for lever in plan.levers:
        table.add_row(lever.what, *_figures(lever))
    said = f"Chance of closing in safely as planned: {plan.date.chance:.0%}"
    nothing = () if plan.levers else (Text("nothing that was tried raises it"),)
    return Group(Text(said), table, *nothing, Text(PRICES))


def levers_document(plan: PlanAnswer) -> dict[str, object]:
    """Return the same for ``--json``."""
    chance = None if plan.date is None else plan.date.chance
    levers: Sequence[Lever] = plan.levers
    return {"version": LEVERS_VERSION, "chance": chance, "levers": levers}


def _figures(lever: Lever) -> tuple[str, str, str]:
    chance = "not known" if lever.chance is None else f"{lever.chance:.0%}"
    gain = "-" if lever.chance_gain is None else f"{100 * lever.chance_gain:.0f} points"
    days = "-" if lever.days_gained is None else f"{lever.days_gained:.1f} days"
    return chance, gain, days
