"""The season question for a reader: a line a start date, and what it comes to."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from scheduler.output.csv_text import csv_text
from scheduler.output.money_lines import amount
from scheduler.output.words import day, words
from scheduler.planning.model.job import Job
from scheduler.planning.reports.briefing import LINE
from scheduler.planning.season import Advice, SeasonAnswer, SeasonStart

A_UNIT = {"d": "day", "h": "hour", "kWh": "kWh"}
SEASON_VERSION = "closein-season/1"
HEADER = (
    "Start", "Years", "Chance", "Closed in by 10 / 50 / 90 %", "Days on cribs",
    "Passed most often", "Cost, mean",
)  # fmt: skip


def season_table(found: SeasonAnswer, job: Job) -> RenderableType:
    """Return the start dates, the advice under them, and what is not counted."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in HEADER:
        table.add_column(title, overflow="fold")
    for row in found.starts:
        table.add_row(*season_row(row, job))
    return Group(table, *(Text(line) for line in ("", *season_lines(found, job), LINE)))


def season_row(row: SeasonStart, job: Job) -> tuple[str, ...]:
    """Return one start date as a person reads it."""
    zone = job.site.time_zone
    return (
        day(row.day, zone),
        str(row.years),
        _chance(row),
        " / ".join(_or_later(one, zone) for one in row.close_in) or "-",
        " / ".join("-" if one is None else f"{one:.0f}" for one in row.crib_days) or "-",
        words(row.limit) or "-",
        amount(row.bill, row.bill.total) if row.bill.lines else "-",
    )


def _chance(row: SeasonStart) -> str:
    if row.chance is not None:
        return f"{row.chance:.0%}"
    return f"in {row.made} of {row.years} years" if row.years else "not known"


def season_lines(found: SeasonAnswer, job: Job) -> list[str]:
    """Return the advice in words, what the cost is made of, and what is not counted."""
    years = f"{found.years[0]} to {found.years[-1]}" if found.years else "none"
    lines = [advice_line(found, job.site.time_zone), f"Past years: {years}"]
    bill = next((row.bill for row in found.starts if row.bill.lines), None)
    if bill is not None:
        parts = sorted({(line.what, line.kind, line.unit, line.price) for line in bill.lines})
        prices = (
            f"{what} {amount(bill, price)} a {A_UNIT[unit]}" for what, _, unit, price in parts
        )
        lines.append("Cost counts: " + "; ".join(prices))
    missing = found.starts[0].bill.not_counted if found.starts else ()
    if missing:
        lines.append("Not counted, no price given: " + "; ".join(missing))
    lines.append(
        "The chance is the share of past years closed in before a limit is passed. Agreed dates "
        "are left aside; crews are free from the start date; strength is waited for as long as "
        f"{found.confidence:.0%} of the years need."
    )
    return [*lines, *(f"Note: {note}" for note in found.notes)]


def advice_line(found: SeasonAnswer, zone: str) -> str:
    """Return what the season question comes to."""
    share = f"{found.confidence:.0%}"
    later = f"; wait for {day(found.next_start, zone)}" if found.next_start else ""
    if found.advice is Advice.START_BY and found.last_start is not None:
        return f"Last sensible start: {day(found.last_start, zone)} ({share}){later}"
    if found.advice is Advice.ANY:
        return f"Every start looked at keeps {share}"
    if found.advice is Advice.WAIT:
        return f"Too late to start now for {share}{later}"
    if found.advice is Advice.NONE:
        return f"No start looked at keeps {share}: look further on with --until, or change the job"
    return f"Not known: too few past years for {share}"


def season_csv(found: SeasonAnswer) -> str:
    """Return the start dates as CSV."""
    header = (
        "start", "years", "years_made", "chance", "planned_on", "closed_10", "closed_50",
        "closed_90", "crib_days_50", "limit", "cost",
    )  # fmt: skip
    rows = [
        (
            row.day, row.years, row.made, _number(row.chance), _number(row.planned_on),
            *(one or "" for one in row.close_in or (None,) * 3), _number(_middle(row.crib_days)),
            row.limit,
            _number(row.bill.total if row.bill.lines else None),
        )
        for row in found.starts
    ]  # fmt: skip
    return csv_text(header, rows)


def season_document(found: SeasonAnswer, job: Job, *, at: object) -> dict[str, object]:
    """Return the same for ``--json``."""
    return {
        "version": SEASON_VERSION,
        "job": job.name,
        "at": at,
        "units": job.units,
        "season": found,
        "totals": [row.bill.total if row.bill.lines else None for row in found.starts],
        "line": LINE,
    }


def _or_later(found: date | None, zone: str) -> str:
    return "later" if found is None else day(found, zone)


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.4g}"


def _middle(values: Sequence[float | None]) -> float | None:
    return values[1] if len(values) > 1 else None
