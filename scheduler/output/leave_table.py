"""The safe-leave list for a reader: by verb, each line with what asks for it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from rich.console import Group, RenderableType
from rich.text import Text

from rules.shown import prose
from scheduler.output.answer_json import weather_told
from scheduler.output.today_table import limit_line
from scheduler.output.weather_table import alert_lines, provenance_lines
from scheduler.output.words import clock, day, number, span, told, words
from scheduler.planning.model.answer import LimitLine
from scheduler.planning.model.job import Job
from scheduler.planning.reports.briefing import LINE, ahead
from scheduler.planning.reports.leaving import Leave, LeaveLine
from scheduler.planning.tables.hours import Forecast

TONIGHT_VERSION = "closein-tonight/1"


def leave_table(
    leaves: Sequence[Leave], job: Job, forecast: Forecast, *, at: datetime
) -> RenderableType:
    """Return the lists one under the other, with the age of the weather above."""
    alerts = None if forecast.alerts is None else ahead(forecast.alerts, at)
    said = [*provenance_lines(forecast, job.site, at)]
    said += alert_lines(alerts, job.site.time_zone)
    lines = [line for leave in leaves for line in ("", *leave_lines(leave, job))]
    if not leaves:
        lines = ["", "The job's hours hold no working day: nobody comes, so nobody leaves."]
    return Group(*(Text(line) for line in (*said, *lines, "", LINE)))


def leave_lines(leave: Leave, job: Job, *, short: bool = False) -> list[str]:
    """Return one list as lines; the short form leaves out what asks for nothing."""
    zone = job.site.time_zone
    lines = [leave_head(leave, zone)]
    lines.append("left: " + (", ".join(leave.left) if leave.left else "nothing open"))
    lines += [leave_line(line, job) for line in leave.lines]
    if not leave.lines:
        lines.append("nothing to do by the weather")
    if not short:
        lines += [fine_line(limit, job) for limit in leave.fine if limit.value is not None]
    if leave.checks:
        names = dict.fromkeys(told("check", check.check, job.units) for check in leave.checks)
        lines.append("look before leaving: " + "; ".join(names))
    lines.append(on_call_line(leave))
    if leave.cautions:
        names = dict.fromkeys(told("caution", c.caution) for c in leave.cautions)
        lines.append("cautions: " + "; ".join(names))
    return lines


def leave_head(leave: Leave, zone: str) -> str:
    """Return from when until when nobody is there, and which days off that holds."""
    away = leave.away
    if not away.days_off:
        return f"Tonight, {span(away.start, away.end, zone)}"
    off = away.days_off
    days = day(off[0], zone) if len(off) == 1 else f"{day(off[0], zone)} to {day(off[-1], zone)}"
    return f"Before the days off ({days}), {span(away.start, away.end, zone)}"


def leave_line(line: LeaveLine, job: Job) -> str:
    """Return one thing to do, why, and until when."""
    zone = job.site.time_zone
    what = " or ".join(told("measure", name, job.units) for name in (line.what, *line.or_else))
    absent = "" if line.on_hand else " (not on site: get it)"
    until = "" if line.end is None else f", until {clock(line.end, zone)}"
    only = f" if {line.only_if} is done today" if line.only_if else ""
    text = f"[ ] {words(line.do)}: {line.of}: {what}{absent}{until}{only}"
    if not line.known:
        said = prose(f"({line.why}) [{line.source}]", job.units)
        return f"{text} - not known: do it {said}"
    if line.limit is None:
        return f"{text} [{prose(line.source, job.units)}]"
    return f"{text} - {limit_line(line.limit, job)}"


def fine_line(limit: LimitLine, job: Job) -> str:
    """Return a limit that asks for nothing, with its value."""
    zone = job.site.time_zone
    at = "" if limit.at is None else f", {clock(limit.at, zone)}"
    value = number(limit.value, limit.unit, job.units, zone)
    return f"asks for nothing: {words(limit.quantity)} {value}{at} [{_source(limit, job)}]"


def on_call_line(leave: Leave) -> str:
    """Return who is called; a list without a name says so."""
    if not leave.on_call:
        return "on call: NOBODY IS NAMED. Name a person with a phone, on_call in the job file"
    return "on call: " + "; ".join(f"{one.name} {one.phone}" for one in leave.on_call)


def leave_document(
    leaves: Sequence[Leave], job: Job, forecast: Forecast, *, at: datetime
) -> dict[str, object]:
    """Return the lists for ``--json``."""
    return {
        "version": TONIGHT_VERSION,
        "job": job.name,
        "at": at,
        "units": job.units,
        "weather": weather_told(forecast, at),
        "leaves": leaves,
        "line": LINE,
    }


def _source(limit: LimitLine, job: Job) -> str:
    parts = " ".join(prose(part, job.units) for part in (limit.source, limit.clause) if part)
    return parts + (", to be verified" if limit.verify else "")
