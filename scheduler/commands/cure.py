"""``closein cure``: protections of fresh work compared."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from scheduler.commands.options import AsJson, Desk, of_a_job, show_or_print


@of_a_job()
def cure(
    desk: Desk,
    task: Annotated[str, typer.Argument(metavar="TASK", help="It places grout or concrete.")],
    finish: Annotated[
        str | None, typer.Option("--finish", metavar="TIME", help="When it is in place.")
    ] = None,
    picture: Annotated[
        Path | None, typer.Option("--picture", metavar="FILE", help="A chart, .png or .svg.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Compare bare, membrane, blanket and enclosure: coldest, freeze-safe, each gate, cost."""
    from scheduler.output.answer_json import dump
    from scheduler.output.cure_chart import chart_suffix, cure_chart
    from scheduler.output.cure_table import cure_document, cure_table
    from scheduler.output.files import write_file
    from scheduler.output.screen import waiting
    from scheduler.runs.cure import cure as run
    from scheduler.runs.desk import keep_answer
    from scheduler.startup import moment

    zone, units = desk.job.site.time_zone, desk.job.units
    with waiting("Following the temperature"):
        found, gathered = run(desk, task, finish=moment(finish, desk.job) if finish else None)
    text = dump(cure_document(found), zone)
    keep_answer(desk, gathered, "cure", text)
    if picture is not None:
        suffix = chart_suffix(str(picture))
        write_file(picture, cure_chart(found, time_zone=zone, units=units, suffix=suffix))
    show_or_print(as_json, text, lambda: cure_table(found, time_zone=zone, units=units))
