"""``closein brief``: the morning message as files."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from scheduler.commands.options import AsJson, Desk, of_a_job, show_or_dump


@of_a_job()
def brief(
    desk: Desk,
    out: Annotated[Path, typer.Option("--out", metavar="FOLDER")] = Path(),
    texts: Annotated[
        bool, typer.Option("--texts", help="Print short texts to copy, one line a reader.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Write the morning message as text and HTML files."""
    from scheduler.output.brief_message import brief_document, brief_files
    from scheduler.output.files import write_folder
    from scheduler.runs.brief import brief as run

    made = run(desk)
    if texts:
        from scheduler.service.cuts import Said
        from scheduler.service.cuts import texts as short

        for reader, line in short(Said(made, desk.job, evening=False, notes=())):
            sys.stdout.write(f"{reader}: {line}\n")
        return
    files = write_folder(out, brief_files(made.brief, made.planned.answer, desk.job))
    wrote = "\n".join([made.brief.subject, *(f"wrote {path}" for path in files)])
    document = brief_document(made.brief, made.planned.answer, files)
    show_or_dump(as_json, document, lambda: wrote, desk.job.site.time_zone)
