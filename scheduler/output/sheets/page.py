"""A sheet as an HTML page made for printing."""

from __future__ import annotations

from scheduler.output.sheets.sheet import Sheet
from scheduler.planning.briefing import LINE


def page(sheet: Sheet) -> str:
    """Return the page; it needs nothing from outside and reads in black and white."""
    from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

    environment = Environment(
        loader=PackageLoader("scheduler.output", "templates"),
        undefined=StrictUndefined,
        autoescape=select_autoescape(default=True, default_for_string=True),
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("sheet.html.jinja").render(sheet=sheet, line=LINE)
