"""The inspector's sheet as CSV and as a page to print."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from datetime import datetime

from rules.units import convert
from scheduler.output.words import clock, number
from scheduler.planning.briefing import LINE
from scheduler.planning.curing_sheet import SheetLine

GAP = "no reading"


def sheet_csv(lines: Sequence[SheetLine], *, units: str) -> str:
    """Return the sheet as CSV; a gap is written as such, never left to be filled in."""
    unit, sign = ("degF", "F") if units == "us" else ("degC", "C")
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        [
            "place",
            "date",
            "time",
            f"temperature_{sign}",
            f"coldest_since_{sign}",
            f"air_{sign}",
            "read_at_utc",
        ]
    )
    for line in lines:
        read = "" if line.read_at is None else line.read_at.strftime("%Y-%m-%dT%H:%MZ")
        values = (line.temperature_c, line.coldest_c, line.air_c)
        told = [GAP if v is None else f"{float(convert(v, 'degC', unit)):.1f}" for v in values]
        writer.writerow(
            [line.place, line.day.isoformat(), line.clock.strftime("%H:%M"), *told, read]
        )
    return out.getvalue()


def sheet_page(
    lines: Sequence[SheetLine],
    *,
    title: str,
    placed: datetime,
    until: datetime,
    time_zone: str,
    units: str,
) -> str:
    """Return the sheet as an HTML page that prints on paper, with room to sign."""
    from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

    environment = Environment(
        loader=PackageLoader("scheduler.output", "templates"),
        undefined=StrictUndefined,
        autoescape=select_autoescape(default=True, default_for_string=True),
        trim_blocks=True,
        lstrip_blocks=True,
    )
    places = sorted({line.place for line in lines})
    rows = {
        place: [_cells(line, units, time_zone) for line in lines if line.place == place]
        for place in places
    }
    missing = sum(line.temperature_c is None for line in lines)
    page: str = environment.get_template("curing_sheet.html.jinja").render(
        title=title,
        placed=clock(placed, time_zone),
        until=clock(until, time_zone),
        rows=rows,
        missing=missing,
        count=len(lines),
        line=LINE,
    )
    return page


def _cells(line: SheetLine, units: str, time_zone: str) -> dict[str, str]:
    def told(value: float | None) -> str:
        return GAP if value is None else number(value, "degC", units, time_zone)

    return {
        "day": line.day.strftime("%a %-d %b"),
        "clock": line.clock.strftime("%H:%M"),
        "temperature": told(line.temperature_c),
        "coldest": told(line.coldest_c),
        "air": told(line.air_c),
        "gap": "gap" if line.temperature_c is None else "",
    }
