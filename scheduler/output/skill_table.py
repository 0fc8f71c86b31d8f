"""What past mornings prove, for a reader."""

from __future__ import annotations

from typing import Final

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from scheduler.output.words import words
from scheduler.planning.model.job import Job
from scheduler.planning.reports.skill import WRONG_GO, Skill, SkillAnswer

SKILL_VERSION = "closein-hindcast/1"
RUNS = {
    "perfect": "as it came",
    "noisy": "forecast",
    "odds": "its odds",
    "climate": "other years",
}
SHOWN_LEADS = (1, 3, 5, 7)


FIT: Final = (
    "Fit: share of mornings whose work was really fit. Hit: of those, called go. False go: of the "
    "goes, wrong."
)
COST: Final = (
    f"Cost: a wrong go counts {WRONG_GO:g}, a wrong no-go 1; beside it always waiting and always "
    "going."
)
BOUNDS: Final = (
    "The forecasts are made: what came, missed by the published error. They prove the rules and "
    "the odds, not any one service."
)


def skill_table(found: SkillAnswer, job: Job) -> RenderableType:
    """Return a line for each task, kind of call and lead day, and what bounds the evidence."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in (
        "Task", "Call by", "Day", "Fit", "Hit", "False go", "Brier", "Cost", "wait", "go",
    ):  # fmt: skip
        table.add_column(title, overflow="fold")
    names = {task.id: task.name for task in job.tasks}
    before = ""
    for row in _bound(found):
        if row.lead_day in SHOWN_LEADS:
            table.add_row(names[row.task] if row.task != before else "", *_cells(row))
            before = row.task
    return Group(table, *(Text(line) for line in ("", *skill_lines(found, job))))


def skill_lines(found: SkillAnswer, job: Job) -> list[str]:
    """Return how much stands behind it, and what it does not prove."""
    years = f"{found.years[0]} to {found.years[-1]}" if found.years else "no years"
    lines = [f"{found.station}, {years}: {found.mornings} mornings.", FIT, COST, BOUNDS]
    told = {row.task for row in _bound(found)}
    free = [task.name for task in job.tasks if task.id not in told]
    if free:
        lines.append(f"Fit on every morning, so nothing to prove: {', '.join(free)}.")
    if found.left_out:
        named = ", ".join(words(name.rsplit("_", 1)[0]) for name in found.left_out)
        lines.append(f"The record has no {named}: limits on them are left out.")
    return lines


def _bound(found: SkillAnswer) -> list[Skill]:
    """Return the rows of tasks that weather held up at all, what really came left out."""
    held = {row.task for row in found.rows if row.fit < 1.0}
    return [row for row in found.rows if row.task in held and row.run != "perfect"]


def skill_document(found: SkillAnswer) -> dict[str, object]:
    """Return the same for ``--json``."""
    return {"version": SKILL_VERSION, "skill": found}


def skill_markdown(found: SkillAnswer, job: Job) -> str:
    """Return the table for the documentation."""
    names = {task.id: task.name for task in job.tasks}
    head = [
        "| task | call by | day | fit | hit | false go | Brier | cost | always wait | always go |",
        "| --- | --- | --: | --: | --: | --: | --: | --: | --: | --: |",
    ]
    rows = [row for row in _bound(found) if row.lead_day in {1, 3, 7}]
    body = [f"| {names[row.task]} | {' | '.join(_cells(row))} |" for row in rows]
    return "\n".join([*head, *body])


def _cells(row: Skill) -> tuple[str, ...]:
    return (
        RUNS[row.run],
        str(row.lead_day),
        f"{row.fit:.0%}",
        "-" if row.hit is None else f"{row.hit:.0%}",
        "-" if row.false_go is None else f"{row.false_go:.1%}",
        f"{row.brier:.3f}",
        f"{row.cost:.2f}",
        f"{row.cost_always_wait:.2f}",
        f"{row.cost_always_go:.2f}",
    )
