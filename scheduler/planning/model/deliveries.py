"""From when what a task needs is on site, by its suppliers' papers."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, time
from typing import Final
from zoneinfo import ZoneInfo

from rules.facts import UNTOLD_DRY_H
from scheduler.planning.model.job import Document, Job, Task

DELIVERED: Final = ("available_from", "delivery")  # what a paper may say, the first that it does


def delivered_from(job: Job, task: Task) -> datetime | None:
    """Return the last of the days from which supplies of a task are there, UTC; None: no paper.

    A paper of a supplier says ``available_from``, or else ``delivery``; a day is its first hour.
    """
    zone = ZoneInfo(job.site.time_zone)
    found = []
    for paper in papers_of(job, task):
        at = next((paper.terms[key] for key in DELIVERED if key in paper.terms), None)
        if not paper.terms.get("supplier_of") or not isinstance(at, date):
            continue
        moment = at if isinstance(at, datetime) else datetime.combine(at, time(0), zone)
        found.append(moment.astimezone(UTC))
    return max(found, default=None)


def papers_of(job: Job, task: Task) -> list[Document]:
    """Return the papers that bind a task: those that name it, and its label."""
    return [d for d in job.documents if task.id in d.for_tasks or d.id == task.label]


def asked_dry_h(papers: Iterable[Document]) -> float:
    """Return how long after the work its papers want it dry; four hours where none says."""
    asked = [
        float(criterion.at_least or criterion.above or 0.0)
        if criterion.quantity == "dry_time"
        else float(criterion.for_h or 0.0)
        for paper in papers
        for way in paper.alternatives
        for criterion in way.criteria
        if criterion.quantity in {"dry_time", "precipitation_amount", "precipitation_probability"}
    ]
    return max(asked, default=UNTOLD_DRY_H)
