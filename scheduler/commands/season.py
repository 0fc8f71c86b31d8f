"""``closein season``: what each start date would bring."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from scheduler.commands.options import AsJson, Csv, Desk, of_a_job, show_or_print


@of_a_job(weather="kept", without=("weather", "observed"))
def season(
    desk: Desk,
    start: Annotated[
        str | None, typer.Option("--from", metavar="DAY", help="First start day; else today.")
    ] = None,
    until: Annotated[
        str | None, typer.Option("--until", metavar="DAY", help="Last start day; else a year on.")
    ] = None,
    step: Annotated[
        int, typer.Option("--every", metavar="DAYS", min=1, max=28, help="Days between starts.")
    ] = 7,
    picture: Annotated[
        Path | None, typer.Option("--picture", metavar="FILE", help="Also draw it: .png or .svg.")
    ] = None,
    csv: Csv = None,
    as_json: AsJson = False,
) -> None:
    """For each start date the chance to close in safely, the cost, the days on cribbing."""
    from scheduler.output.answer_json import dump
    from scheduler.output.files import write_file
    from scheduler.output.screen import waiting
    from scheduler.output.season_table import season_csv, season_document, season_table
    from scheduler.runs.season import Starts, season_of

    starts = Starts.told(start, until, step)
    with waiting("Replaying past years"):
        found = season_of(desk, starts)
    text = dump(season_document(found, desk.job, at=desk.now), desk.job.site.time_zone)
    if csv is not None:
        write_file(csv, season_csv(found))
    if picture is not None:
        from scheduler.output.date_chart import format_of
        from scheduler.output.season_chart import season_chart

        write_file(picture, season_chart(found, desk.job, kind=format_of(picture.name)))
    show_or_print(as_json, text, lambda: season_table(found, desk.job))
