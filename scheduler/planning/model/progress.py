"""The progress log up to a moment, and what may be written into it next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Final

from rules.book import groups, load_book
from rules.errors import OutOfRange
from rules.words import nearest, site_quantities
from scheduler.planning.model.job import Job
from scheduler.planning.model.log import Entry, EntryKind, Progress

MOST_LOST_H: Final = 24.0  # of one entry: a day's
MOST_LEFT_H: Final = 2000.0  # a year of work
ENGINEER: Final = "engineer"
FRESH: Final = ("concrete", "masonry")  # groups of work whose frost only the engineer releases
ONE_TASK: Final = frozenset(
    {EntryKind.STARTED, EntryKind.FINISHED, EntryKind.PROGRESS, EntryKind.RELEASE}
)

Refusal = tuple[str, object, str]  # field, value, what would be right


def progress_until(log: Sequence[Entry], moment: datetime | None = None) -> Progress:
    """Return what is known of the site at a moment: undone entries out, in order of time.

    An entry counts once it had been written down and had happened by then; so does an undo, and
    a past morning looks as it looked. Without a moment the whole log counts.
    """
    there = [e for e in log if moment is None or (e.entered_at <= moment and e.at <= moment)]
    undone = {undone_by(entry) for entry in there if entry.kind is EntryKind.UNDO}
    kept = [e for e in there if e.kind is not EntryKind.UNDO and e.seq not in undone]
    return Progress(tuple(sorted(kept, key=lambda entry: (entry.at, entry.seq))))


def undone_by(entry: Entry) -> int | None:
    """Return the number of the entry that an undo takes back."""
    seq = entry.payload.get("seq")
    return seq if isinstance(seq, int) else None


def refusals(entry: Entry, *, job: Job, log: Sequence[Entry], now: datetime) -> Iterator[Refusal]:
    """Yield why an entry cannot be taken after the log so far; nothing where it can."""
    if entry.at > now:
        yield "when", entry.at, "that has not come yet; the log holds what happened"
    if entry.task or entry.kind in ONE_TASK:
        yield from _task(entry, job)
    if entry.kind in {EntryKind.STARTED, EntryKind.FINISHED, EntryKind.PROGRESS}:
        yield from _in_turn(entry, job, progress_until(log))
    if entry.hours is not None:
        yield from _hours(entry)
    if entry.kind is EntryKind.LOST:
        yield from _span(entry)
    if entry.reading is not None:
        yield from _reading(entry, now)
    if entry.kind is EntryKind.RELEASE and any(task.id == entry.task for task in job.tasks):
        yield from _release(entry, job)
    if entry.kind is EntryKind.UNDO:
        yield from _undo(entry, log)


def _release(entry: Entry, job: Job) -> Iterator[Refusal]:
    """Check that whoever releases may: a hold stands until a person of its role lifts it.

    Of a row that is named its own roles; else those of the job's holds on the task, and where it
    has none those of the rows that may hold such work. Work that froze is the engineer's.
    """
    task = job.task(entry.task)
    by_row = {
        row.id: {by for part in (row, *row.bands) for hold in part.holds for by in hold.by}
        for row in load_book(job.book).rows_for(task.work_type)
    }
    holding = {name: roles for name, roles in by_row.items() if roles}
    row, own = entry.payload.get("row"), {by for hold in task.holds for by in hold.by}
    if row is not None and row not in holding:
        near = nearest(str(row), holding)
        want = f"did you mean {near}?" if near else f"one of {', '.join(sorted(holding))}"
        yield "row", row, f"no row of that name holds {task.id}; {want}"
        return
    may = own or {*set().union(*holding.values()), ENGINEER}
    if row is not None:
        may = holding[str(row)]
    elif any(task.work_type in groups()[name] for name in FRESH):
        may = {*may, ENGINEER}
    if entry.payload.get("role") not in may:
        whose = f"the hold of row {row}" if row is not None else f"what holds {task.id}"
        yield (
            "role",
            entry.payload.get("role"),
            (f"{whose} is released by {' or '.join(sorted(may))} only; nothing is filed"),
        )


def _task(entry: Entry, job: Job) -> Iterator[Refusal]:
    known = [task.id for task in job.tasks]
    if entry.task not in known:
        near = nearest(entry.task, known)
        want = f"did you mean {near}?" if near else f"the job has {', '.join(known)}"
        yield "task", entry.task, f"no such task; {want}"


def _in_turn(entry: Entry, job: Job, so_far: Progress) -> Iterator[Refusal]:
    """Check that a task starts once, then goes on, then finishes once."""
    told = {e.kind: e for e in so_far.entries if e.task == entry.task}
    started, finished = told.get(EntryKind.STARTED), told.get(EntryKind.FINISHED)
    begun = started.at if started else _begun(job, entry.task)
    again = told.get(entry.kind) if entry.kind is not EntryKind.PROGRESS else None
    if again is not None:
        yield "task", entry.task, f"entry {again.seq} says it is {entry.kind}; undo that one first"
    elif entry.kind is EntryKind.STARTED:
        late = min((e.at for e in told.values() if e.kind in ONE_TASK), default=None)
        if late is not None and entry.at > late:
            yield "when", entry.at, f"work on it is told at {late:%Y-%m-%dT%H:%MZ} already"
    elif begun is not None and entry.at <= begun:
        yield "when", entry.at, f"it was begun at {begun:%Y-%m-%dT%H:%MZ}, after that"
    elif finished is not None and entry.at > finished.at:
        yield "task", entry.task, f"entry {finished.seq} says it is finished; undo that one first"


def _begun(job: Job, task_id: str) -> datetime | None:
    return next((task.started_at for task in job.tasks if task.id == task_id), None)


def _hours(entry: Entry) -> Iterator[Refusal]:
    lost = entry.kind is EntryKind.LOST
    most = MOST_LOST_H if lost else MOST_LEFT_H
    hours = entry.hours or 0.0
    none_is_fine = "scheduled_h" in entry.payload  # a day of the record may have lost nothing
    if hours > most or hours < 0.0 or (hours == 0.0 and not none_is_fine):
        more = ", each day in an entry of its own" if lost else ""
        yield "hours", entry.hours, f"give hours above 0, at most {most:g}{more}"


def _span(entry: Entry) -> Iterator[Refusal]:
    start, end = entry.payload.get("from"), entry.payload.get("until")
    if isinstance(start, datetime) and isinstance(end, datetime) and end <= start:
        yield "until", end, "give a moment after from"


def _reading(entry: Entry, now: datetime) -> Iterator[Refusal]:
    reading = entry.reading
    if reading is None:
        return
    quantity = site_quantities().get(reading.quantity)
    if quantity is None:
        near = nearest(reading.quantity, site_quantities())
        yield "quantity", reading.quantity, f"did you mean {near}?" if near else "no such quantity"
        return
    if isinstance(reading.value, bool) != (quantity.unit == "yes_no"):
        want = "yes or no" if quantity.unit == "yes_no" else f"a number of {quantity.unit}"
        yield "value", reading.value, f"give {want}"
        return
    try:
        quantity.check(float(reading.value), reading.unit)
    except OutOfRange as error:
        yield "value", reading.value, str(error)
    for name, moment in (("at", reading.at), ("until", reading.end), ("since", reading.since)):
        if moment is not None and moment > now:
            yield name, moment, "that has not come yet"
    if reading.start is not None and reading.end is not None and reading.start >= reading.end:
        yield "until", reading.end, "give a moment after from"


def _undo(entry: Entry, log: Sequence[Entry]) -> Iterator[Refusal]:
    seq = undone_by(entry)
    target = next((e for e in log if e.seq == seq), None)
    already = next((e for e in log if e.kind is EntryKind.UNDO and undone_by(e) == seq), None)
    if target is None:
        yield "seq", seq, f"the log has {f'entries 1 to {len(log)}' if log else 'no entry yet'}"
    elif target.kind is EntryKind.UNDO:
        yield "seq", seq, "an undo stays; write the entry again that it took out"
    elif already is not None:
        yield "seq", seq, f"entry {already.seq} has undone it"
