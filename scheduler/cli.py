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
# What typer raises for every wrong option or command; it gives this class no public name.
WrongUse: type[Exception] = typer.BadParameter.__bases__[0]

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
    try:
        code: object = app(args=arguments, prog_name="closein", standalone_mode=False)
    except CloseinError as error:
        for line in error.lines():
            sys.stderr.write(f"closein: {line}\n")
        return error.exit_code
    except WrongUse as error:
        sys.stderr.write(f"closein: {error}\n")
        return 2
    except (typer.Abort, KeyboardInterrupt):
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
def today(
    job: JobFile,
    weather: Weather = "nws",
    observed: Observed = None,
    climate: Climate = None,
    at: At = None,
    store: Store = None,
    as_json: AsJson = False,
    strict: Annotated[bool, typer.Option("--strict", help="Exit 4 where nothing can go.")] = False,
) -> int:
    """Give the calls for today and the coming days, with reasons."""
    from scheduler.output.answer_json import answer_document, dump
    from scheduler.output.today_table import today_table
    from scheduler.runs.desk import keep_answer
    from scheduler.runs.today import today as run
    from scheduler.startup import Options, open_desk

    desk = open_desk(Options(job, weather, observed, climate, at, store))
    found = run(desk)
    document = answer_document(desk.job, found.answers, found.gathered.forecast, at=desk.now)
    text = dump(document, desk.job.site.time_zone)
    keep_answer(desk, found.gathered, "today", text)
    _print(
        as_json,
        text,
        lambda: today_table(desk.job, found.answers, found.gathered.forecast, at=desk.now),
    )
    return NOTHING_CAN_GO if strict and found.nothing_can_go else 0


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
    from scheduler.output.answer_json import dump
    from scheduler.output.plan_table import plan_document, plan_table
    from scheduler.output.screen import waiting
    from scheduler.runs.desk import keep_answer
    from scheduler.runs.plan import plan as run
    from scheduler.startup import Options, open_desk

    desk = open_desk(Options(job, weather, observed, climate, at, store))
    with waiting("Planning"):
        planned, gathered = run(desk)
    text = dump(plan_document(planned.answer, desk.job), desk.job.site.time_zone)
    keep_answer(desk, gathered, "plan", text)
    _print(as_json, text, lambda: plan_table(planned.answer, desk.job))


@app.command()
def log(  # noqa: PLR0913, PLR0917 - one option for each thing that can be told
    job: JobFile,
    started: Annotated[str | None, typer.Option(metavar="TASK")] = None,
    finished: Annotated[str | None, typer.Option(metavar="TASK")] = None,
    hours_left: Annotated[
        tuple[str, float] | None, typer.Option(metavar="TASK HOURS", help="Hours still to do.")
    ] = None,
    lost: Annotated[float | None, typer.Option(metavar="HOURS", help="Hours lost.")] = None,
    cause: Annotated[str | None, typer.Option(help="Why: rain, wind, cold, ...")] = None,
    task: Annotated[str | None, typer.Option(metavar="TASK", help="Whose hours.")] = None,
    reading: Annotated[
        tuple[str, str, str] | None, typer.Option(metavar="QUANTITY VALUE UNIT")
    ] = None,
    fact: Annotated[
        tuple[str, str, str] | None, typer.Option(metavar="ELEMENT CONDITION VALUE")
    ] = None,
    unit: Annotated[str | None, typer.Option(help="Unit of a fact's number.")] = None,
    place: Annotated[str | None, typer.Option(help="Where on site.")] = None,
    release: Annotated[
        tuple[str, str] | None, typer.Option(metavar="TASK ROLE", help="A hold; needs --who.")
    ] = None,
    note: Annotated[str | None, typer.Option(metavar="TEXT")] = None,
    undo: Annotated[int | None, typer.Option(metavar="NUMBER", help="Of an entry.")] = None,
    entries: Annotated[
        Path | None, typer.Option(metavar="FILE", help="A list of entries, JSON or YAML.")
    ] = None,
    who: Annotated[str | None, typer.Option(metavar="NAME", help="Who says so.")] = None,
    when: Annotated[str | None, typer.Option(metavar="TIME", help="When it happened.")] = None,
    weather: Weather = "kept",
    climate: Climate = None,
    at: At = None,
    store: Store = None,
    no_plan: Annotated[bool, typer.Option("--no-plan", help="Only write it down.")] = False,
    as_json: AsJson = False,
) -> None:
    """Write down what happened on site, replan, and say what moved."""
    from scheduler.output.log_table import log_document, log_table
    from scheduler.runs.log import entries_given
    from scheduler.runs.log import log as run
    from scheduler.startup import Options, open_desk, text_of

    given = entries_given(
        {"started": started, "finished": finished, "hours_left": hours_left, "lost": lost}
        | {"reading": reading, "fact": fact, "release": release, "note": note, "undo": undo},
        {"cause": cause, "task": task, "unit": unit, "place": place, "who": who, "when": when},
        entries is not None,
    )
    desk = open_desk(Options(job, weather, None, climate, at, store))
    done = run(desk, text_of(entries) if entries else given, replan=not no_plan)
    before = done.before.answer if done.before else None
    after = done.after.answer if done.after else None
    _show(
        as_json,
        log_document(done.entries, before, after, done.why_not),
        lambda: log_table(done.entries, before, after, done.why_not, desk.job),
        desk.job.site.time_zone,
    )


@app.command()
def brief(
    job: JobFile,
    out: Annotated[Path, typer.Option("--out", metavar="FOLDER")] = Path(),
    weather: Weather = "nws",
    observed: Observed = None,
    climate: Climate = None,
    at: At = None,
    store: Store = None,
    as_json: AsJson = False,
) -> None:
    """Write the morning message as text and HTML files."""
    from scheduler.output.brief_message import brief_document, write_brief
    from scheduler.runs.brief import brief as run
    from scheduler.startup import Options, open_desk

    desk = open_desk(Options(job, weather, observed, climate, at, store))
    made = run(desk)
    files = write_brief(made.brief, made.planned.answer, desk.job, out)
    wrote = "\n".join([made.brief.subject, *(f"wrote {path}" for path in files)])
    document = brief_document(made.brief, made.planned.answer, files)
    _show(as_json, document, lambda: wrote, desk.job.site.time_zone)


@app.command()
def demo(
    picture: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Also draw what is printed, as SVG.")
    ] = None,
) -> None:
    """Run the main job on a made scenario, without a network."""
    from scheduler.output.demo_show import DemoSeen, demo_parts, demo_picture
    from scheduler.output.screen import show, waiting
    from scheduler.runs.demo import demo as run
    from scheduler.startup import demo_desk, write_text

    with demo_desk() as desk:
        with waiting("Planning"):
            made = run(desk)
        morning, delay = made.morning, made.delay
        seen = DemoSeen(
            job=desk.job,
            at=desk.now,
            subject=morning.brief.subject,
            answers=morning.today.answers,
            forecast=morning.today.gathered.forecast,
            before=morning.planned.answer,
            entries=delay.entries,
            after=made.after.answer,
        )
    show(demo_parts(seen))
    if picture is not None:
        write_text(picture, demo_picture(seen))


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


@app.command()
def kept(
    job: JobFile,
    number: Annotated[
        int | None, typer.Option(metavar="NUMBER", help="Print this answer as it was given.")
    ] = None,
    at: At = None,
    store: Store = None,
) -> None:
    """List the answers that were given, or print one again, byte for byte."""
    from scheduler.output.kept_table import kept_table
    from scheduler.output.screen import show
    from scheduler.startup import Options, open_desk

    desk = open_desk(Options(job, "kept", at=at, store=store))
    if number is not None:
        sys.stdout.write(desk.store.decision(desk.job.id, number).answer.decode() + "\n")
        return
    until = desk.now if desk.replay else None
    show(kept_table(desk.store.decisions(desk.job.id, until=until), desk.job))


def _show(
    as_json: bool,
    document: Mapping[str, object],
    table: Callable[[], RenderableType],
    time_zone: str,
) -> None:
    from scheduler.output.answer_json import dump

    _print(as_json, dump(document, time_zone) if as_json else "", table)


def _print(as_json: bool, text: str, table: Callable[[], RenderableType]) -> None:
    if as_json:
        sys.stdout.write(text + "\n")
        return
    from scheduler.output.screen import show

    show(table())
