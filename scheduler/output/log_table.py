"""What was written down, and what it moved."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from scheduler.output.close_in_words import date_lines
from scheduler.output.words import clock, number, words
from scheduler.planning.job import Job
from scheduler.planning.log import Entry, EntryKind
from scheduler.planning.plan_answer import PlanAnswer, PlanLine

LOG_VERSION = "closein-log/1"


def entry_line(entry: Entry, job: Job) -> str:
    """Return one entry in words."""
    zone = job.site.time_zone
    what = f"{entry.seq}. {clock(entry.at, zone)} {words(entry.kind.value)}"
    if entry.task:
        what += f" {entry.task}"
    if entry.hours is not None:
        what += f" {entry.hours:g} h"
    if entry.cause:
        what += f", {words(entry.cause)}"
    if entry.reading is not None:
        read = entry.reading
        what += f" {words(read.quantity)} {number(read.value, read.unit, job.units, zone)}"
        what += f" at {read.place}" if read.place else ""
    if entry.fact is not None:
        fact = entry.fact
        what += (
            f" {words(fact.element)} {words(fact.condition)}: {fact.value} {fact.unit}".rstrip()
        )
    if entry.kind is EntryKind.UNDO:
        what += f" of {entry.payload.get('seq')}"
    return f"{what} {entry.text}".rstrip()


def moved(before: PlanAnswer, after: PlanAnswer) -> list[tuple[PlanLine, PlanLine]]:
    """Return the tasks whose planned hours differ, as they were and as they are."""
    old = {line.id: line for line in before.tasks}
    return [
        (old[line.id], line)
        for line in after.tasks
        if not line.done and (old[line.id].start, old[line.id].finish) != (line.start, line.finish)
    ]


def log_table(
    entries: tuple[Entry, ...],
    before: PlanAnswer | None,
    after: PlanAnswer | None,
    why_not: str,
    job: Job,
) -> RenderableType:
    """Return the entries taken and what they moved."""
    lines: list[RenderableType] = [Text(f"logged {entry_line(entry, job)}") for entry in entries]
    if before is None or after is None:
        lines.append(Text(f"not replanned: {why_not}" if why_not else "not replanned"))
        return Group(*lines)
    return Group(*lines, *_difference(before, after, job))


def _difference(before: PlanAnswer, after: PlanAnswer, job: Job) -> Iterator[RenderableType]:
    zone = job.site.time_zone
    rows = moved(before, after)
    if not rows:
        yield Text("nothing moved")
    else:
        table = Table(box=None, pad_edge=False, header_style="bold")
        for title in ("Moved", "Was", "Is", "Tell"):
            table.add_column(title, overflow="fold")
        for old, new in rows:
            tell = words(new.who) if new.kept is False and old.kept else ""
            table.add_row(new.name, clock(old.start, zone), clock(new.start, zone), tell)
        yield table
    yield Text(f"Close-in was {clock(before.close_in, zone)}, is {clock(after.close_in, zone)}")
    old_margin = before.date.margin_days if before.date else None
    new_margin = after.date.margin_days if after.date else None
    if new_margin is not None and old_margin is not None:
        yield Text(f"Margin was {old_margin} days, is {new_margin}")
    for line in date_lines(after.date, zone)[:1]:
        yield Text(line)


def log_document(
    entries: tuple[Entry, ...],
    before: PlanAnswer | None,
    after: PlanAnswer | None,
    why_not: str,
) -> dict[str, object]:
    """Return the same for ``--json``."""
    rows = moved(before, after) if before is not None and after is not None else []
    return {
        "version": LOG_VERSION,
        "entries": entries,
        "moved": [
            {"task": new.id, "was": old.start, "is": new.start, "kept": new.kept}
            for old, new in rows
        ],
        "margin_days": {
            "was": before.date.margin_days if before and before.date else None,
            "is": after.date.margin_days if after and after.date else None,
        },
        "plan": after,
        "not_replanned": why_not,
    }
