"""What was written down, and what it moved."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from scheduler.output.close_in_words import date_lines
from scheduler.output.words import clock, number, words
from scheduler.planning.model.job import Job
from scheduler.planning.model.log import Entry, EntryKind
from scheduler.planning.plan.plan_answer import PlanAnswer
from scheduler.planning.reports.difference import Difference, difference

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
    what = f"{what} {entry.text}".rstrip()
    return f"{what} (photo)" if "photo" in entry.payload else what


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
    lines += difference_lines(difference(before, after, job, entries), job)
    lines += [Text(line) for line in date_lines(after.date, job.site.time_zone)[:1]]
    return Group(*lines)


def difference_lines(found: Difference, job: Job) -> Iterator[RenderableType]:
    """Yield what moved and why, the calls with their words, and what became of the figures."""
    if found.nothing:
        yield Text("nothing moved")
    else:
        table = Table(box=None, pad_edge=False, header_style="bold")
        for title in ("Moved", "Was", "Is", "Why"):
            table.add_column(title, overflow="fold")
        for row in moved_rows(found, job):
            table.add_row(*row)
        yield table
    for who, by, text in call_rows(found, job):
        yield Text(f"tell {who}{f' by {by}' if by else ''}: {text}")
    if found.stays and not found.nothing:
        yield Text(f"as before: {', '.join(found.stays)}")
    yield from (Text(line) for line in figure_lines(found, job))


def moved_rows(found: Difference, job: Job) -> list[list[str]]:
    """Return a row of words a task that moved: name, was, is, why; its end where that moved."""
    zone = job.site.time_zone
    rows = []
    for row in found.moved:
        was, now = (row.was, row.now) if row.was != row.now else (row.ended, row.ends)
        until = "" if row.was != row.now else "until "
        rows.append(
            [row.name, f"{until}{clock(was, zone)}", f"{until}{clock(now, zone)}", row.why]
        )
    return rows


def call_rows(found: Difference, job: Job) -> list[list[str]]:
    """Return a row of words a call to make: whom, by when or "", the words to send."""
    zone = job.site.time_zone
    return [
        [words(call.who), clock(call.by, zone) if call.by else "", call.text]
        for call in found.calls
    ]


def figure_lines(found: Difference, job: Job) -> list[str]:
    """Return what became of close-in, margin and chance, those that are known."""
    zone = job.site.time_zone
    was, now = found.close_in
    lines = [f"Close-in was {clock(was, zone)}, is {clock(now, zone)}"]
    if found.late_close_in != (None, None):
        late, later = (clock(at, zone) if at else "after the season" for at in found.late_close_in)
        lines.append(f"In nine of ten scenarios by {late}, now by {later}")
    margin, chance = found.margin_days, found.chance
    if margin.was is not None and margin.now is not None:
        lines.append(f"Margin was {margin.was:g} days, is {margin.now:g}")
    if chance.was is not None and chance.now is not None:
        lines.append(f"Chance was {chance.was:.0%}, is {chance.now:.0%}")
    return lines


def log_document(
    entries: tuple[Entry, ...],
    before: PlanAnswer | None,
    after: PlanAnswer | None,
    why_not: str,
    job: Job,
) -> dict[str, object]:
    """Return the same for ``--json``."""
    found = None
    if before is not None and after is not None:
        found = difference(before, after, job, entries)
    return {
        "version": LOG_VERSION,
        "entries": entries,
        "moved": [
            {
                "task": row.task,
                "was": row.was,
                "is": row.now,
                "until_was": row.ended,
                "until": row.ends,
                "kept": row.kept,
                "why": row.why,
            }
            for row in (found.moved if found else ())
        ],
        "calls": found.calls if found else (),
        "stays": found.stays if found else (),
        "margin_days": {"was": found.margin_days.was, "is": found.margin_days.now}
        if found
        else {"was": None, "is": None},
        "chance": {"was": found.chance.was, "is": found.chance.now} if found else None,
        "plan": after,
        "not_replanned": why_not,
    }
