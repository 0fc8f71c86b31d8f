"""``closein levers``: what would buy chance, alone and two by two."""

from __future__ import annotations

from typing import Annotated

import typer

from scheduler.commands.options import AsJson, Desk, of_a_job, show_or_print


@of_a_job()
def levers(
    desk: Desk,
    together: Annotated[
        int, typer.Option("--pairs", metavar="N", min=0, max=6, help="Best N tried two by two.")
    ] = 3,
    as_json: AsJson = False,
) -> None:
    """Tell what more crew, Saturdays, longer days, dates, heat or panels buy, and the price."""
    from scheduler.output.answer_json import dump
    from scheduler.output.levers_table import levers_document, levers_table
    from scheduler.output.screen import waiting
    from scheduler.runs.desk import keep_answer
    from scheduler.runs.plan import plan as run

    with waiting("Trying"):
        planned, gathered = run(desk, pairs=together)
    text = dump(levers_document(planned.answer, desk.job), desk.job.site.time_zone)
    keep_answer(desk, gathered, "levers", text)
    show_or_print(as_json, text, lambda: levers_table(planned.answer, desk.job))
