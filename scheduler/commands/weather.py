"""``closein weather``: the hourly table as read."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from scheduler.commands.options import AsJson, At, Store, Weather, show_or_dump


def weather(
    job: Annotated[Path | None, typer.Argument(metavar="JOB", help="The job file.")] = None,
    site: Annotated[
        str | None, typer.Option("--site", metavar="LAT,LON[,METRES]", help="A place, not a job.")
    ] = None,
    weather: Weather = "job",
    at: At = None,
    store: Store = None,
    form: Annotated[str, typer.Option("--format", metavar="table|csv")] = "table",
    as_json: AsJson = False,
) -> None:
    """Show the hourly table as read: values, gaps, age and cell."""
    from scheduler.output.weather_table import weather_document, weather_table
    from scheduler.startup import Options, read_weather, weather_csv

    if form not in {"table", "csv"}:
        raise typer.BadParameter(f"--format is {form!r}; want table or csv")
    read = read_weather(Options(job=job, weather=weather, at=at, store=store), site)
    if form == "csv":
        sys.stdout.write(weather_csv(read.forecast))
        return
    show_or_dump(
        as_json,
        weather_document(read.forecast, read.site, now=read.now),
        lambda: weather_table(read.forecast, read.site, units=read.units, now=read.now),
        read.site.time_zone,
    )
