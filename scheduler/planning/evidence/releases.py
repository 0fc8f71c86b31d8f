"""What was released on the log: by whom, of which row, and from when.

A row holds work for a role; a release by that role names the row, or stands for the only one of
its role that holds the task.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from rules.book import load_book
from rules.book_rows import Row
from rules.facts import Facts, band_of, stated
from rules.verdict import Verdict
from scheduler.planning.model.job import Job, Task
from scheduler.planning.model.log import Entry, EntryKind


def holders(job: Job, task: Task, name: str) -> list[Row]:
    """Return the rows that hold a task for a role by what is known under a name."""
    rows = load_book(job.book).rows_for(task.work_type)
    return [row for row in rows if row.quantity == name and roles_of(row)]


def roles_of(row: Row) -> set[str]:
    """Return who may release what a row holds."""
    return {role for part in (row, *row.bands) for hold in part.holds for role in hold.by}


def lifted_at(job: Job, entries: Iterable[Entry], name: str) -> datetime | None:
    """Return when what was read under a name was last released, on whichever task.

    A release that names no row is of the job's own hold where the task has one of that role.
    """
    found = [
        entry.at
        for entry in _releases(entries)
        for row in holders(job, job.task(entry.task), name)
        if entry.payload.get("role") in roles_of(row)
        and (_named(entry) == row.id or (_named(entry) is None and not _own(entry, job)))
    ]
    return max(found, default=None)


def rows_released(
    job: Job, task: Task, entries: Iterable[Entry], facts: Facts
) -> Mapping[str, datetime]:
    """Return when each row that holds a task by what was found on site was last released."""
    holding = [row for row in load_book(job.book).rows_for(task.work_type) if roles_of(row)]
    found: dict[str, datetime] = {}
    for entry in _releases(entries):
        if entry.task != task.id:
            continue
        role, named = entry.payload.get("role"), _named(entry)
        may = [row for row in holding if role in roles_of(row)]
        meant = [row.id for row in may if row.id == named]
        if named is None and not _own(entry, job):
            bad = [row.id for row in may if _refuses(row, facts)]
            meant = bad if len(bad) == 1 else []
        found.update(dict.fromkeys(meant, entry.at))
    return found


def _releases(entries: Iterable[Entry]) -> Sequence[Entry]:
    found = [e for e in entries if e.kind is EntryKind.RELEASE and e.who]
    return sorted(found, key=lambda entry: entry.at)


def _named(entry: Entry) -> object:
    return entry.payload.get("row")


def _own(entry: Entry, job: Job) -> bool:
    return any(entry.payload.get("role") in hold.by for hold in job.task(entry.task).holds)


def _refuses(row: Row, facts: Facts) -> bool:
    bands = [band_of(one.value, row.bands, row.unit) for one in stated(row.quantity, facts)]
    return any(band is not None and band.outcome >= Verdict.NO_GO for band in bands)
