"""The plan for a reader: bars are for charts, here each task has its line and its dates."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from scheduler.output.close_in_words import date_lines
from scheduler.output.money_lines import money_lines
from scheduler.output.open_lines import open_lines
from scheduler.output.stop_lines import stop_lines
from scheduler.output.words import clock, day, span, words
from scheduler.planning.job import Job
from scheduler.planning.plan_answer import PLAN_VERSION, Basis, PlanAnswer, PlanLine

BASIS = {
    Basis.FORECAST: "forecast",
    Basis.CLIMATE: "past years",
    Basis.ASSUMED_FIT: "nothing known",
    None: "–",
}


def plan_table(plan: PlanAnswer, job: Job, *, stop: bool = False) -> RenderableType:
    """Return the schedule and, under it, the date and the margin.

    With ``stop`` the plan to stop for the winter too, whether it applies or not.
    """
    zone = job.site.time_zone
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in ("Task", "When", "Rests on", "Finish 10 / 50 / 90 %", "Appointment"):
        table.add_column(title, overflow="fold")
    for line in plan.tasks:
        when = "done" if line.done else span(line.start, line.finish, zone)
        table.add_row(line.name, when, BASIS[line.basis], _odds(line, zone), _visit(line, zone))
    return Group(table, *(Text(text) for text in ("", *plan_lines(plan, job, stop=stop))))


def plan_lines(plan: PlanAnswer, job: Job, *, stop: bool = False) -> tuple[str, ...]:
    """Return the close-in date, the latest safe one and the margin in words."""
    zone = job.site.time_zone
    lines = [f"Plan {words(plan.status)}" + (f": {plan.proof}" if plan.proof else "")]
    if plan.close_in is None:
        lines.append("Close-in: not known")
    else:
        rests = BASIS[plan.close_in_basis]
        lines.append(f"Close-in planned: {clock(plan.close_in, zone)} (rests on {rests})")
    if plan.middle_close_in is not None:
        late = clock(plan.late_close_in, zone) if plan.late_close_in else "after the season"
        lines.append(f"Close-in 50 / 90 %: {clock(plan.middle_close_in, zone)} / {late}")
    lines += date_lines(plan.date, zone, plan.levers)
    lines += open_lines(plan, job)
    lines += money_lines(plan.money)
    lines += stop_lines(plan.stop, job, always=stop)
    return (*lines, *(f"Note: {note}" for note in plan.notes))


def plan_document(plan: PlanAnswer, job: Job) -> dict[str, object]:
    """Return the same for ``--json``."""
    return {"version": PLAN_VERSION, "units": job.units, "plan": plan}


def _odds(line: PlanLine, zone: str) -> str:
    if line.middle is None and line.early is None:
        return "–"
    parts = (line.early, line.middle, line.late)
    return " / ".join("–" if part is None else day(part, zone) for part in parts)


def _visit(line: PlanLine, zone: str) -> str:
    if line.appointment is None:
        return "–"
    said = "kept" if line.kept else "MOVED" if line.kept is False else "open"
    chance = "" if line.chance is None else f", {line.chance:.0%} hold"
    return f"{words(line.who)} {clock(line.appointment, zone)}: {said}{chance}"
