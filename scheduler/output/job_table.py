"""The job as read: one line a task, so that a slip of the pen is seen."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from scheduler.output.words import clock, gate_words, words
from scheduler.planning.model.job import Job, Link, LinkKind, Task


def job_table(job: Job) -> RenderableType:
    """Return the site, the tasks and what ties them."""
    site = job.site
    head = Text(
        f"{job.name}: {site.name}, {site.latitude_deg:.4f}, {site.longitude_deg:.4f}, "
        f"{site.elevation_m:.0f} m, {site.time_zone}; book {job.book}; "
        f"confidence {job.confidence:.0%}"
    )
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in ("Task", "Work", "Hours", "Crew", "After", "Fixed", "State"):
        table.add_column(title, overflow="fold")
    for task in job.tasks:
        table.add_row(
            task.id,
            words(task.work_type),
            f"{task.duration_h:g}",
            ", ".join(task.crew) or "–",
            ", ".join(link_words(link) for link in task.after) or "–",
            _fixed(task, site.time_zone),
            words(task.state.value),
        )
    return Group(head, table)


def job_document(job: Job) -> dict[str, object]:
    """Return the same for ``--json``."""
    return {"version": "closein-check/1", "job": job.name, "units": job.units, "read": job}


def link_words(link: Link) -> str:
    """Return a predecessor in words."""
    parts = [link.task]
    if link.kind is LinkKind.START_START:
        parts.append("(start)")
    if link.wait_h:
        parts.append(f"+{link.wait_h:g} h")
    if link.wait_working_h:
        parts.append(f"+{link.wait_working_h:g} working h")
    if link.within_h is not None:
        parts.append(f"within {link.within_h:g} h")
    if link.gate is not None:
        parts.append(f"at {gate_words(link.gate)}")
        if link.gate.wait_h:
            parts.append(f"and {link.gate.wait_h:g} h")
    return " ".join(parts)


def _fixed(task: Task, time_zone: str) -> str:
    if task.appointment is not None:
        who = words(task.appointment.who)
        return f"{who} {clock(task.appointment.start, time_zone)}"
    if task.booked is not None:
        return clock(task.booked, time_zone)
    if task.not_before is not None:
        return f"not before {clock(task.not_before, time_zone)}"
    return "–"
