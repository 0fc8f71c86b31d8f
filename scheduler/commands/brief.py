"""``closein brief``: the morning message as files."""

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


def brief(
    job: JobFile,
    out: Annotated[Path, typer.Option("--out", metavar="FOLDER")] = Path(),
    weather: Weather = "job",
    observed: Observed = None,
    climate: Climate = None,
    at: At = None,
    store: Store = None,
    as_json: AsJson = False,
) -> None:
    """Write the morning message as text and HTML files."""
    from scheduler.output.brief_message import brief_document, write_brief
    from scheduler.runs.brief import brief as run
    from scheduler.startup import Options, open_desk

    desk = open_desk(Options(job, weather, observed, climate, at, store))
    made = run(desk)
    files = write_brief(made.brief, made.planned.answer, desk.job, out)
    wrote = "\n".join([made.brief.subject, *(f"wrote {path}" for path in files)])
    document = brief_document(made.brief, made.planned.answer, files)
    show_or_dump(as_json, document, lambda: wrote, desk.job.site.time_zone)
