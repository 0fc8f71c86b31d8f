"""``closein orders``: by which day to order what."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from scheduler.commands.options import (
    AsJson,
    At,
    Climate,
    JobFile,
    Observed,
    Store,
    Weather,
    show_or_dump,
)


def orders(
    job: JobFile,
    weather: Weather = "job",
    observed: Observed = None,
    climate: Climate = None,
    at: At = None,
    store: Store = None,
    csv: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Also write it as CSV.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Say by which day each thing is ordered, against the plan and its odds."""
    from scheduler.output.orders_table import orders_csv, orders_document, orders_table
    from scheduler.output.screen import waiting
    from scheduler.runs.orders import orders as run
    from scheduler.startup import Options, open_desk, write_text

    desk = open_desk(Options(job, weather, observed, climate, at, store))
    with waiting("Planning"):
        found, _ = run(desk)
    if csv is not None:
        write_text(csv, orders_csv(found, desk.job))
    show_or_dump(
        as_json,
        orders_document(found),
        lambda: orders_table(found, desk.job),
        desk.job.site.time_zone,
    )
