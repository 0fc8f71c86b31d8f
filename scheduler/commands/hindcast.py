"""``closein hindcast``: how the calls of past mornings came out."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from scheduler.commands.options import AsJson, Desk, of_a_job, show_or_dump


@of_a_job(weather="kept", without=("weather", "observed"))
def hindcast(
    desk: Desk,
    first: Annotated[str, typer.Option("--from", metavar="MM-DD")] = "10-01",
    last: Annotated[str, typer.Option("--until", metavar="MM-DD")] = "12-15",
    every: Annotated[int, typer.Option(metavar="DAYS", min=1, max=28)] = 3,
    picture: Annotated[
        Path | None, typer.Option("--picture", metavar="FILE", help="Reliability, .png or .svg.")
    ] = None,
    table: Annotated[
        Path | None, typer.Option("--table", metavar="FILE", help="The figures as Markdown.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Replay past mornings of --climate FILE: hits, false goes, Brier score, cost."""
    from scheduler.output.files import write_file
    from scheduler.output.screen import waiting
    from scheduler.output.skill_table import skill_document, skill_markdown, skill_table
    from scheduler.runs.hindcast import hindcast as run

    with waiting("Replaying past mornings"):
        found = run(desk, first=first, last=last, every_days=every)
    if table is not None:
        write_file(table, skill_markdown(found, desk.job))
    if picture is not None:
        from scheduler.output.date_chart import format_of
        from scheduler.output.skill_chart import skill_chart

        write_file(picture, skill_chart(found, desk.job, kind=format_of(picture.name)))
    zone = desk.job.site.time_zone
    show_or_dump(as_json, skill_document(found), lambda: skill_table(found, desk.job), zone)
