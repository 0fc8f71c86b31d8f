"""``closein sheets``: what is printed for the board, the inspector and the truck."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from scheduler.commands.options import AsJson, Desk, of_a_job, show_or_dump


@of_a_job()
def sheets(
    desk: Desk,
    out: Annotated[Path, typer.Option("--out", metavar="FOLDER")] = Path(),
    as_json: AsJson = False,
) -> None:
    """Write tomorrow, cold-weather plan, set-down, temperatures, orders as pages and PDF."""
    from scheduler.output.files import write_folder
    from scheduler.output.screen import waiting
    from scheduler.output.sheets.all_sheets import sheet_files
    from scheduler.runs.sheets import sheets as run

    with waiting("Planning"):
        parts = run(desk)
    files = write_folder(out, sheet_files(desk.job, parts))
    document = {"version": "closein-sheets/1", "files": [str(path) for path in files]}
    wrote = "\n".join(f"wrote {path}" for path in files)
    show_or_dump(as_json, document, lambda: wrote, desk.job.site.time_zone)
