"""What of the house is open until when, and how many hours are left to close it."""

from __future__ import annotations

from scheduler.output.words import clock, words
from scheduler.planning.model.envelope import OpenPart
from scheduler.planning.model.job import Job
from scheduler.planning.plan.plan_answer import PlanAnswer


def open_lines(plan: PlanAnswer, job: Job) -> list[str]:
    """Return the open parts and the fit hours left, a line each; nothing where there are none."""
    names = {task.id: task.name for task in job.tasks}
    lines = []
    if plan.open_parts:
        told = (_part(part, names, job.site.time_zone) for part in plan.open_parts)
        lines.append("Open: " + "; ".join(told))
    short = [one for one in plan.fit_hours if one.left_h[0] < 10.0 * one.needs_h]
    if short:  # where there is plenty nobody needs to read it
        told = (
            f"{names.get(one.task, one.task)} {' / '.join(f'{h:.0f}' for h in one.left_h)} h, "
            f"takes {one.needs_h:g} h"
            for one in short
        )
        lines.append("Fit hours left this season (10 / 50 / 90 %): " + "; ".join(told))
    return lines


def _part(part: OpenPart, names: dict[str, str], zone: str) -> str:
    since = "" if part.since is None else f" from {clock(part.since, zone)}"
    until = f" until {clock(part.until, zone)}" if part.until else ", nothing planned closes it"
    covered = (
        f", covered by {', '.join(names[one] for one in part.covered)}" if part.covered else ""
    )
    return f"{words(part.part)}{since}{until}{covered}"
