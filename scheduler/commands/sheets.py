"""``closein sheets``: what is printed for the board, the inspector and the truck."""

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


def sheets(
    job: JobFile,
    out: Annotated[Path, typer.Option("--out", metavar="FOLDER")] = Path(),
    weather: Weather = "job",
    observed: Observed = None,
    climate: Climate = None,
    at: At = None,
    store: Store = None,
    as_json: AsJson = False,
) -> None:
    """Write tomorrow, cold-weather plan, set-down, temperatures, orders as pages and PDF."""
    from scheduler.output.screen import waiting
    from scheduler.output.sheets.all_sheets import all_sheets, write_sheets
    from scheduler.runs.sheets import sheets as run
    from scheduler.startup import Options, open_desk

    desk = open_desk(Options(job, weather, observed, climate, at, store))
    with waiting("Planning"):
        parts = run(desk)
    files = write_sheets(all_sheets(desk.job, parts), out, units=desk.job.units)
    document = {"version": "closein-sheets/1", "files": [str(path) for path in files]}
    show_or_dump(
        as_json, document, lambda: "\n".join(f"wrote {p}" for p in files), desk.job.site.time_zone
    )
