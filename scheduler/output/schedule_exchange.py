"""The schedule for other programs: a table of tasks, and the network of what waits for what.

``schedule_csv`` is one row a task. ``network_csv`` is one row a link, the open form that any
network method reads: predecessor, successor, kind, lag. Moments are ISO 8601 with the site's
offset. Cells that a spreadsheet could run are quoted by ``csv_text``.
"""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from scheduler.output.csv_text import csv_text
from scheduler.planning.model.job import Job
from scheduler.planning.plan.plan_answer import PlanAnswer

TASKS = (
    "id", "name", "work_type", "start", "finish", "done", "rests_on", "finish_10", "finish_50",
    "finish_90", "critical_share", "crew", "predecessors", "appointment", "appointment_kept",
)  # fmt: skip
LINKS = ("predecessor", "successor", "kind", "wait_h", "wait_working_h", "within_h", "gate_opens")


def schedule_csv(plan: PlanAnswer, job: Job) -> str:
    """Return the plan as CSV, one row a task in the order of its start."""
    zone = ZoneInfo(job.site.time_zone)
    tasks = {task.id: task for task in job.tasks}
    rows = [
        (
            line.id,
            line.name,
            line.work_type,
            _at(line.start, zone),
            _at(line.finish, zone),
            "yes" if line.done else "no",
            line.basis.value if line.basis else "",
            _at(line.early, zone),
            _at(line.middle, zone),
            _at(line.late, zone),
            "" if line.critical is None else f"{line.critical:.3f}",
            " ".join(line.crew),
            " ".join(link.task for link in tasks[line.id].after),
            _at(line.appointment, zone),
            {True: "yes", False: "no", None: ""}[line.kept],
        )
        for line in plan.tasks
    ]
    return csv_text(TASKS, rows)


def network_csv(plan: PlanAnswer, job: Job) -> str:
    """Return the links between tasks as CSV, with the hour each strength gate opens."""
    zone = ZoneInfo(job.site.time_zone)
    opens = {(gate.task, gate.after): gate.opens for gate in plan.gates}
    rows = [
        (
            link.task,
            task.id,
            link.kind.value,
            f"{link.wait_h:g}",
            f"{link.wait_working_h:g}",
            "" if link.within_h is None else f"{link.within_h:g}",
            _at(opens.get((task.id, link.task)), zone),
        )
        for task in job.tasks
        for link in task.after
    ]
    return csv_text(LINKS, rows)


def _at(moment: datetime | None, zone: ZoneInfo) -> str:
    return "" if moment is None else moment.astimezone(zone).isoformat()
