"""The rule book for a reader, and one verdict walked limit by limit."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from rules.book import Book, editions
from rules.book_rows import Row
from rules.page import Line, line
from rules.shown import prose
from rules.verdict import KEYS
from scheduler.output.today_table import OUTCOME_WORDS, limit_line
from scheduler.output.words import clock, number, span, words
from scheduler.planning.model.answer import Outcome, TaskAnswer
from scheduler.planning.model.job import Job
from scheduler.planning.reports.briefing import CALL_WORDS, LINE
from scheduler.planning.reports.traced import HourValue, Traced

MOST_HOURS = 48  # of one limit on the screen; ``--json`` has every one


def rules_table(lines: Sequence[Line], book: Book) -> RenderableType:
    """Return the rows of a book in words, each with its source."""
    head = Text(f"{book.edition}: {editions()[book.edition].name}; {len(lines)} rows")
    return Group(head, *(_entry(told) for told in lines), Text(f"\n{LINE}"))


def _entry(told: Line) -> RenderableType:
    row = told.row
    head = Text(f"\n{row.id}", style="bold")
    head.append(f" – {row.says}" if row.says else "", style="")
    facts = [
        f"work: {', '.join(map(words, row.work_types))}",
        f"looks at: {told.looks_at}",
        f"when: {told.holds_when}" if told.holds_when else "",
        *map(str, told.bands),
        f"asks: {told.asks}" if told.asks else "",
        f"source: {told.source}",
        told.marks,
    ]
    return Group(head, *(Padding(Text(fact), (0, 0, 0, 2)) for fact in facts if fact))


def rules_document(lines: Sequence[Line], book: Book) -> dict[str, object]:
    """Return the same for ``--json``."""
    return {
        "version": "closein-rules/1",
        "edition": book.edition,
        "rows": [_row(told) for told in lines],
    }


def _row(told: Line) -> dict[str, object]:
    row = told.row
    return {
        "id": row.id,
        "says": row.says,
        "work_types": list(row.work_types),
        "quantity": row.quantity,
        "unit": row.unit,
        "taken_as": row.taken_as,
        "looks_at": told.looks_at,
        "when": told.holds_when,
        "bands": [
            {"text": str(text), "up_to": band.up_to, "edge": band.edge,
             "outcome": KEYS[band.outcome], "call": band.call}
            for band, text in zip(row.bands, told.bands, strict=True)
        ],
        "asks": told.asks,
        "source": row.source,
        "clause": row.clause,
        "origin": told.source,
        "verify": row.verify,
        "marks": told.marks,
    }  # fmt: skip


def difference_table(
    one: Book, other: Book, away: Sequence[Row], instead: Sequence[Row]
) -> RenderableType:
    """Return what another edition leaves out and puts in its place."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in ("Row", "In", "Looks at", "Bands", "Source"):
        table.add_column(title, overflow="fold")
    for book, rows in ((one, away), (other, instead)):
        for told in map(line, rows):
            bands = "\n".join(map(str, told.bands))
            table.add_row(told.row.id, book.edition, told.looks_at, bands, told.source)
    count = f"{len(away)} rows only in {one.edition}, {len(instead)} only in {other.edition}"
    return Group(Text(count), table)


def difference_document(
    one: Book, other: Book, away: Sequence[Row], instead: Sequence[Row]
) -> dict[str, object]:
    """Return the same for ``--json``."""
    return {
        "version": "closein-rules/1",
        "editions": [one.edition, other.edition],
        "only_in": {
            one.edition: [_row(line(row)) for row in away],
            other.edition: [_row(line(row)) for row in instead],
        },
    }


def why_table(job: Job, answer: TaskAnswer, limits: Sequence[Traced]) -> RenderableType:
    """Return one verdict walked limit by limit, the gravest first, with the values by hour."""
    zone = job.site.time_zone
    head = Text(f"{job.task(answer.task).name}: ", style="bold")
    head.append(f"call {CALL_WORDS[answer.call]}, verdict {OUTCOME_WORDS[answer.outcome]}")
    window = answer.window
    hours = span(window.start, window.end, zone) if window else "no hours judged"
    parts: list[RenderableType] = [head, Text(f"hours judged: {hours}")]
    if answer.reason:
        parts.append(Text(answer.reason))
    for traced in limits:
        parts += _limit(job, traced)
    return Group(*parts, Text(f"\n{LINE}"))


def _limit(job: Job, traced: Traced) -> list[RenderableType]:
    limit, zone = traced.limit, job.site.time_zone
    parts: list[RenderableType] = [Text(f"\n{limit.rule}", style="bold")]
    lines = [limit_line(limit, job)]
    if traced.row is not None:
        told = traced.row
        lines += [
            f"looks at: {told.looks_at}"
            + (f", when {told.holds_when}" if told.holds_when else ""),
            *map(str, told.bands),
            f"source: {told.source}",
            told.marks,
        ]
    shown = traced.hours[:MOST_HOURS]
    lines += [_day(limit.unit, job, hours, zone) for hours in _by_day(shown, zone)]
    if len(traced.hours) > len(shown):
        lines.append(f"and {len(traced.hours) - len(shown)} hours more, see --json")
    return [
        *parts,
        *(Padding(Text(prose(text, job.units)), (0, 0, 0, 2)) for text in lines if text),
    ]


def _by_day(hours: Sequence[HourValue], zone: str) -> list[list[HourValue]]:
    days: dict[str, list[HourValue]] = {}
    for hour in hours:
        days.setdefault(clock(hour.at, zone)[:-6], []).append(hour)
    return list(days.values())


def _day(unit: str, job: Job, hours: Sequence[HourValue], zone: str) -> str:
    told = ", ".join(_hour(hour, unit, job, zone) for hour in hours)
    return f"{clock(hours[0].at, zone)[:-6]}: {told}"


def _hour(hour: HourValue, unit: str, job: Job, zone: str) -> str:
    value = "not known" if hour.value is None else number(hour.value, unit, job.units, zone)
    outcome = hour.outcome
    said = "" if outcome in {None, Outcome.GO} else f" {OUTCOME_WORDS[outcome]}"
    return f"{clock(hour.at, zone)[-5:]} {value}{said}"


def why_document(
    job: Job, answer: TaskAnswer, limits: Sequence[Traced], at: datetime
) -> dict[str, object]:
    """Return the same for ``--json``, every hour of every limit in it."""
    return {
        "version": "closein-why/1",
        "job": job.id,
        "at": at,
        "task": answer.task,
        "call": answer.call,
        "outcome": answer.outcome,
        "window": answer.window,
        "limits": [
            {
                "limit": traced.limit,
                "row": None if traced.row is None else _row(traced.row),
                "hours": traced.hours,
            }
            for traced in limits
        ],
    }
