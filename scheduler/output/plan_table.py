"""The plan for a reader: bars are for charts, here each task has its line and its dates."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from rules.gates import gates
from scheduler.output.close_in_words import date_lines
from scheduler.output.collision_lines import collision_lines
from scheduler.output.money_lines import money_lines
from scheduler.output.open_lines import open_lines
from scheduler.output.stop_lines import stop_lines
from scheduler.output.words import clock, day, span, words
from scheduler.planning.model.job import Job
from scheduler.planning.plan.plan_answer import PLAN_VERSION, Basis, PlanAnswer, PlanLine

TIGHTEST = 3  # tasks that are named where several have as little room
BASIS = {
    Basis.FORECAST: "forecast",
    Basis.CLIMATE: "past years",
    Basis.ASSUMED_FIT: "nothing known",
    None: "–",
}


TITLES = ("Task", "When", "Rests on", "Finish 10 / 50 / 90 %", "Appointment")


def plan_rows(plan: PlanAnswer, job: Job) -> list[list[str]]:
    """Return a row of words a task, as ``TITLES`` names its cells."""
    zone = job.site.time_zone
    return [
        [
            line.name,
            "done" if line.done else span(line.start, line.finish, zone),
            BASIS[line.basis],
            _odds(line, zone),
            _visit(line, zone, 0 if plan.date is None else plan.date.years),
        ]
        for line in plan.tasks
    ]


def plan_table(plan: PlanAnswer, job: Job, *, stop: bool = False) -> RenderableType:
    """Return the schedule and, under it, the date and the margin.

    With ``stop`` the plan to stop for the winter too, whether it applies or not.
    """
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in TITLES:
        table.add_column(title, overflow="fold")
    for row in plan_rows(plan, job):
        table.add_row(*row)
    return Group(table, *(Text(text) for text in ("", *plan_lines(plan, job, stop=stop))))


def plan_lines(plan: PlanAnswer, job: Job, *, stop: bool = False) -> tuple[str, ...]:
    """Return the close-in date, the latest safe one and the margin in words."""
    zone = job.site.time_zone
    lines = [f"Plan {words(plan.status)}" + (f": {plan.proof}" if plan.proof else "")]
    lines += collision_lines(plan.collisions, job)
    if plan.close_in is None:
        lines.append("Close-in: not known")
    else:
        rests = BASIS[plan.close_in_basis]
        lines.append(f"Close-in planned: {clock(plan.close_in, zone)} (rests on {rests})")
    if plan.middle_close_in is not None:
        late = clock(plan.late_close_in, zone) if plan.late_close_in else "after the season"
        lines.append(f"Close-in 50 / 90 %: {clock(plan.middle_close_in, zone)} / {late}")
    lines += date_lines(plan.date, zone, plan.levers, job.costs.currency)
    lines += latest_lines(plan, job)
    lines += hold_lines(plan)
    lines += open_lines(plan, job)
    lines += strength_lines(plan, job)
    lines += money_lines(plan.money)
    lines += stop_lines(plan.stop, job, always=stop)
    return (*lines, *(f"Note: {note}" for note in plan.notes))


def latest_lines(plan: PlanAnswer, job: Job) -> list[str]:
    """Return the tasks with the least room, and by when they must begin."""
    if not plan.latest or plan.latest_keeps is None:
        return []
    zone, names = job.site.time_zone, {task.id: task.name for task in job.tasks}
    least = [row for row in plan.latest if row.room_days == plan.latest[0].room_days][:TIGHTEST]
    told = [
        f"{names[row.task]} " + (f"by {clock(row.latest, zone)}" if row.latest else "as planned")
        for row in least
    ]
    return [f"Least room, to keep a chance of {plan.latest_keeps:.0%}: {'; '.join(told)}"]


def hold_lines(plan: PlanAnswer) -> list[str]:
    """Return the tasks that nobody has released yet, and who may."""
    told: dict[tuple[str, str], list[str]] = {}
    for line in plan.tasks:
        for hold in line.holds:
            told.setdefault((line.name, hold.needs), []).append(words(hold.by))
    return [
        f"{name} is planned as if released; it stands until {' or '.join(by)} releases it: {needs}"
        for (name, needs), by in told.items()
    ]


def strength_lines(plan: PlanAnswer, job: Job) -> list[str]:
    """Return when fresh work resists one freeze, and when each strength gate opens."""
    zone, names = job.site.time_zone, {task.id: task.name for task in job.tasks}
    lines = []
    for fresh in plan.fresh:
        safe = clock(fresh.freeze_safe_at, zone) if fresh.freeze_safe_at else "not shown"
        text = f"{names[fresh.task]} resists one freeze from: {safe}"
        if fresh.froze:
            text = f"{names[fresh.task]} froze before it could resist: the engineer decides"
        lines.append(text + ("; needs a cover to be bought" if fresh.to_be_bought else ""))
    for gate in plan.gates:
        row = gates().get(gate.purpose)
        title = words(gate.purpose) if row is None else row.title
        opens = clock(gate.opens, zone) if gate.opens else "not shown"
        fast = f" (fast model {clock(gate.optimistic, zone)})" if gate.optimistic else ""
        own = ", by the engineer's own bound" if gate.own else ""
        lines.append(f"Gate, {title}, for {names[gate.task]}: {opens}{fast}{own}")
    return lines


def plan_document(plan: PlanAnswer, job: Job) -> dict[str, object]:
    """Return the same for ``--json``."""
    return {"version": PLAN_VERSION, "units": job.units, "plan": plan}


def _odds(line: PlanLine, zone: str) -> str:
    if line.middle is None and line.early is None:
        return "–"
    parts = (line.early, line.middle, line.late)
    return " / ".join("–" if part is None else day(part, zone) for part in parts)


def _visit(line: PlanLine, zone: str, years: int) -> str:
    if line.appointment is None:
        return "–"
    said = "kept" if line.kept else "MOVED" if line.kept is False else "open"
    chance = "" if line.chance is None else f", {line.chance:.0%} hold"
    if line.years_kept is not None:
        chance = f", holds in {line.years_kept} of {years} past years"
    return f"{words(line.who)} {clock(line.appointment, zone)}: {said}{chance}"
