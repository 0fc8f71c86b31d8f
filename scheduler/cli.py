"""The ``closein`` command: reads options, calls one run, prints what it returns."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rules.errors import CloseinError

if TYPE_CHECKING:
    from rich.console import RenderableType


NOTHING_CAN_GO = 4

app = typer.Typer(
    name="closein",
    help="Which hours are fit, what to protect, and by which date the house must be closed in.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

JobFile = Annotated[Path, typer.Argument(metavar="JOB", help="The job file, YAML.")]
Weather = Annotated[
    str,
    typer.Option(
        "--weather",
        metavar="nws|FILE",
        help="Where the forecast comes from; kept: the newest kept.",
    ),
]
Observed = Annotated[
    Path | None,
    typer.Option("--observed", metavar="FILE", help="Weather observed at the place so far."),
]
Climate = Annotated[
    Path | None,
    typer.Option("--climate", metavar="FILE", help="Past years at the place, daily or hourly."),
]
At = Annotated[
    str | None,
    typer.Option(
        "--at", metavar="TIME", help="Answer as of this moment; what came later does not exist."
    ),
]
Store = Annotated[
    str | None,
    typer.Option("--store", metavar="ADDRESS", help="The store; else CLOSEIN_STORE."),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the documented JSON.")]


def main(arguments: list[str] | None = None) -> int:
    """Run the command and return its exit code; faults are printed one a line."""
    import click

    try:
        code: object = app(args=arguments, prog_name="closein", standalone_mode=False)
    except CloseinError as error:
        for line in error.lines():
            sys.stderr.write(f"closein: {line}\n")
        return error.exit_code
    except click.ClickException as error:
        sys.stderr.write(f"closein: {error.format_message()}\n")
        return 2
    except (click.exceptions.Abort, KeyboardInterrupt):
        sys.stderr.write("closein: stopped\n")
        return 130
    except BrokenPipeError:  # the reader of a pipe has seen enough
        return 0
    return code if isinstance(code, int) else 0


@app.command()
def check(job: JobFile, as_json: AsJson = False) -> None:
    """Read the job file and say every fault with its line."""
    import scheduler.jobfile
    from scheduler.output.job_table import job_document, job_table

    read = scheduler.jobfile.read(job)
    _show(as_json, job_document(read), lambda: job_table(read), read.site.time_zone)


@app.command()
def plan(
    job: JobFile,
    weather: Weather = "nws",
    observed: Observed = None,
    climate: Climate = None,
    at: At = None,
    store: Store = None,
    as_json: AsJson = False,
) -> None:
    """Rebuild the schedule; say the close-in date, the latest safe one and the margin."""
    from scheduler.output.plan_table import plan_document, plan_table
    from scheduler.output.screen import waiting
    from scheduler.runs.plan import plan as run
    from scheduler.startup import Options, open_desk

    desk = open_desk(Options(job, weather, observed, climate, at, store))
    with waiting("Planning"):
        planned, _ = run(desk)
    _show(
        as_json,
        plan_document(planned.answer, desk.job),
        lambda: plan_table(planned.answer, desk.job),
        desk.job.site.time_zone,
    )


@app.command("weather")
def weather_(
    job: Annotated[Path | None, typer.Argument(metavar="JOB", help="The job file.")] = None,
    site: Annotated[
        str | None, typer.Option("--site", metavar="LAT,LON", help="A place instead of a job.")
    ] = None,
    weather: Weather = "nws",
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
    _show(
        as_json,
        weather_document(read.forecast, read.site, now=read.now),
        lambda: weather_table(read.forecast, read.site, units=read.units, now=read.now),
        read.site.time_zone,
    )


def _show(
    as_json: bool,
    document: Mapping[str, object],
    table: Callable[[], RenderableType],
    time_zone: str,
) -> None:
    if as_json:
        from scheduler.output.answer_json import dump

        sys.stdout.write(dump(document, time_zone) + "\n")
        return
    from scheduler.output.screen import show

    show(table())
