"""``closein rules``: the rule book, and why one verdict is as it is."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from scheduler.commands.options import AsJson, At, Climate, Observed, Store, Weather, show_or_dump

if TYPE_CHECKING:
    from scheduler.startup import Options

UTC = "UTC"


def rules(  # noqa: PLR0913, PLR0917 - one option for each way to ask
    work_type: Annotated[
        str | None, typer.Option("--work-type", metavar="NAME", help="Only of this kind of work.")
    ] = None,
    edition: Annotated[
        str | None, typer.Option("--edition", metavar="NAME", help="The edition; else the usual.")
    ] = None,
    source: Annotated[
        str | None, typer.Option("--source", metavar="KEY", help="Only from this source.")
    ] = None,
    against: Annotated[
        str | None, typer.Option("--against", metavar="EDITION", help="How two editions differ.")
    ] = None,
    why: Annotated[
        tuple[Path, str] | None,
        typer.Option("--why", metavar="JOB TASK", help="Walk one verdict limit by limit."),
    ] = None,
    weather: Weather = "job",
    observed: Observed = None,
    climate: Climate = None,
    at: At = None,
    store: Store = None,
    as_json: AsJson = False,
) -> None:
    """Print the rule book, by work, edition or source; or walk one verdict with --why."""
    if why is not None:
        from scheduler.startup import Options

        job, task = why
        _why(Options(job, weather, observed, climate, at, store), task, as_json)
        return
    from rules.book import DEFAULT_EDITION, load_book
    from scheduler.output.rules_table import (
        difference_document,
        difference_table,
        rules_document,
        rules_table,
    )
    from scheduler.runs.rules import difference, rows_of

    book = load_book(edition or DEFAULT_EDITION)
    if against is not None:
        other = load_book(against)
        away, instead = difference(book, other, work_type=work_type)
        show_or_dump(
            as_json,
            difference_document(book, other, away, instead),
            lambda: difference_table(book, other, away, instead),
            UTC,
        )
        return
    lines = rows_of(book, work_type=work_type, source=source)
    show_or_dump(as_json, rules_document(lines, book), lambda: rules_table(lines, book), UTC)


def _why(options: Options, task: str, as_json: bool) -> None:
    from scheduler.output.rules_table import why_document, why_table
    from scheduler.runs.why import why as run
    from scheduler.startup import open_desk

    desk = open_desk(options)
    found = run(desk, task)
    show_or_dump(
        as_json,
        why_document(desk.job, found.answer, found.limits, desk.now),
        lambda: why_table(desk.job, found.answer, found.limits),
        desk.job.site.time_zone,
    )
