"""A sheet as an HTML page made for printing."""

from __future__ import annotations

from scheduler.output.environment import environment
from scheduler.output.sheets.sheet import Sheet
from scheduler.planning.reports.briefing import LINE


def page(sheet: Sheet) -> str:
    """Return the page; it needs nothing from outside and reads in black and white."""
    return environment().get_template("sheet.html.jinja").render(sheet=sheet, line=LINE)
