"""``closein plan``: the rest of the schedule and the latest safe close-in date."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from scheduler.commands.options import AsJson, Csv, Desk, Timings, of_a_job, show_or_print


@of_a_job()
def plan(  # noqa: PLR0913, PLR0917 - one option for each thing that is written
    desk: Desk,
    stop: Annotated[
        bool, typer.Option("--stop", help="Also the plan to stop safely for the winter.")
    ] = False,
    picture: Annotated[
        Path | None,
        typer.Option("--picture", metavar="FILE", help="The plan as bars, .png or .svg."),
    ] = None,
    calendar: Annotated[
        Path | None,
        typer.Option(
            "--calendar", metavar="FILE", help="A calendar feed, .ics; updates in place."
        ),
    ] = None,
    csv: Csv = None,
    network: Annotated[
        Path | None,
        typer.Option("--network", metavar="FILE", help="What waits for what, as CSV."),
    ] = None,
    risk_picture: Annotated[
        Path | None,
        typer.Option("--risk-picture", metavar="FILE", help="Risk against date, .png or .svg."),
    ] = None,
    exposure_picture: Annotated[
        Path | None,
        typer.Option("--exposure-picture", metavar="FILE", help="Lows in the open house by day."),
    ] = None,
    timings: Timings = False,
    as_json: AsJson = False,
) -> None:
    """Rebuild the schedule; say the close-in date, the latest safe one and the margin."""
    from scheduler.output.answer_json import dump
    from scheduler.output.plan_files import write_bars, write_calendar, write_tables
    from scheduler.output.plan_table import plan_document, plan_table
    from scheduler.output.screen import waiting
    from scheduler.output.stopwatch import timed
    from scheduler.planning.model.steps import OF_A_PLAN
    from scheduler.runs.calendar import CALENDAR, feed_before
    from scheduler.runs.desk import keep_answer
    from scheduler.runs.plan import plan as run

    with timed(OF_A_PLAN, asked=timings) as clock, waiting("Planning", shown=not timings):
        planned, gathered = run(desk, watch=clock.watch)
    text = dump(plan_document(planned.answer, desk.job), desk.job.site.time_zone)
    keep_answer(desk, gathered, "plan", text)
    if picture is not None:
        write_bars(picture, planned, desk.job)
    if calendar is not None:
        said = write_calendar(calendar, planned, desk.job, feed_before(desk))
        keep_answer(desk, gathered, CALENDAR, said)
    write_tables(planned, desk.job, tasks=csv, network=network)
    if risk_picture is not None or exposure_picture is not None:
        from scheduler.output.open_house_pictures import draw

        draw(planned, desk.job, risk=risk_picture, exposure=exposure_picture)
    show_or_print(as_json, text, lambda: plan_table(planned.answer, desk.job, stop=stop))
