"""What was released on the log: by whom, of which row, and from when.

A row holds work for a role; a release by that role names the row, or stands for the only one of
its role that holds the task.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from rules.book import load_book
from rules.book_rows import Row
from rules.facts import Facts, Stated, band_of, stated
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
    told = tuple(entries)
    found = [
        entry.at
        for entry in _releases(told)
        for row in holders(job, job.task(entry.task), name)
        if entry.payload.get("role") in roles_of(row)
        and (_named(entry) == row.id or (_named(entry) is None and not _own(entry, job)))
        and not _unaware(entry, row, told)
    ]
    return max(found, default=None)


def rows_released(
    job: Job, task: Task, entries: Iterable[Entry], facts: Facts
) -> Mapping[str, datetime]:
    """Return when each row that holds a task by what was found on site was last released."""
    holding = [row for row in load_book(job.book).rows_for(task.work_type) if roles_of(row)]
    found: dict[str, datetime] = {}
    told = tuple(entries)
    for entry in _releases(told):
        if entry.task != task.id:
            continue
        role, named = entry.payload.get("role"), _named(entry)
        may = [row for row in holding if role in roles_of(row)]
        meant = [row for row in may if row.id == named]
        if named is None and not _own(entry, job):
            bad = [row for row in may if _refuses(row, stated(row.quantity, facts))]
            meant = bad if len(bad) == 1 else []
        found.update({row.id: entry.at for row in meant if not _unaware(entry, row, told)})
    return found


def known_by(entries: Iterable[Entry], release: Entry) -> tuple[Entry, ...]:
    """Return what had been so and was written down before a release, whenever it was told for.

    Of a log that is written up in one go the order of its lines says what came first.
    """
    found = []
    for entry in entries:
        at = _happened(entry)
        if entry.at <= release.at:
            found.append(entry)
        elif at <= release.at and entry.seq < release.seq:
            found.append(replace(entry, at=at))
    return tuple(found)


def _unaware(release: Entry, row: Row, entries: Iterable[Entry]) -> bool:
    """Tell whether what refuses had been so before a release and was written down after it."""
    late = [e for e in entries if _happened(e) <= release.at < e.at and e.seq > release.seq]
    return any(_refuses(row, said) for e in late if (said := _said(e, row.quantity)))


def _happened(entry: Entry) -> datetime:
    read, fact = entry.reading, entry.fact
    at = (read.at or read.end) if read is not None else fact.at if fact is not None else None
    return at or entry.at


def _said(entry: Entry, name: str) -> tuple[Stated, ...]:
    read, fact = entry.reading, entry.fact
    if read is not None and read.quantity == name:
        return (Stated(bool(read.value) if read.unit == "yes_no" else (read.value, read.unit)),)
    if fact is not None and f"{fact.element}.{fact.condition}" == name:
        return (Stated(fact.value if isinstance(fact.value, bool | str) else str(fact.value)),)
    return ()


def _releases(entries: Iterable[Entry]) -> Sequence[Entry]:
    found = [e for e in entries if e.kind is EntryKind.RELEASE and e.who]
    return sorted(found, key=lambda entry: entry.at)


def _named(entry: Entry) -> object:
    return entry.payload.get("row")


def _own(entry: Entry, job: Job) -> bool:
    return any(entry.payload.get("role") in hold.by for hold in job.task(entry.task).holds)


def _refuses(row: Row, told: Iterable[Stated]) -> bool:
    bands = [band_of(one.value, row.bands, row.unit) for one in told]
    return any(band is not None and band.outcome >= Verdict.NO_GO for band in bands)
