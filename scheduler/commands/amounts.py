"""``closein amounts``: what a job takes, counted from the numbers it was made of."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from scheduler.commands.options import AsJson, JobFile, show_or_dump


def amounts(
    job: JobFile,
    csv: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Also write it as CSV.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Count blocks, grout, bars, cribbing and covers, each with its source."""
    import scheduler.jobfile
    from scheduler.output.amounts_table import amounts_csv, amounts_document, amounts_table
    from scheduler.runs.new import amounts as run
    from scheduler.startup import write_text

    read = scheduler.jobfile.read(job)
    counted = run(read)
    if csv is not None:
        write_text(csv, amounts_csv(counted))
    show_or_dump(
        as_json,
        amounts_document(counted),
        lambda: amounts_table(counted),
        read.site.time_zone,
    )
