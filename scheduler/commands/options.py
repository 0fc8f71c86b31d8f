"""Options that several commands share, and how a command prints."""

from __future__ import annotations

import functools
import inspect
import sys
from collections.abc import Callable, Collection, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer

if TYPE_CHECKING:
    from rich.console import RenderableType

    from scheduler.runs.desk import Desk as Desk  # noqa: PLC0414 - handed on to the commands
else:
    Desk = object  # the desk itself is imported where a command opens one

NOTHING_CAN_GO = 4

JobFile = Annotated[Path, typer.Argument(metavar="JOB", help="The job file, YAML.")]
Weather = Annotated[
    str,
    typer.Option(
        "--weather",
        metavar="job|nws|MODEL|FILE",
        help="Where the forecast comes from: the job's sources (nws where it names none), the "
        "National Weather Service, a public model such as gfs, a file; kept: the newest kept.",
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
Timings = Annotated[
    bool, typer.Option("--timings", help="Show how long each step takes, and its share.")
]
Csv = Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="Also write it as CSV.")]
OF_A_JOB: Mapping[str, Any] = {  # what every command asks that judges a job
    "weather": Weather,
    "observed": Observed,
    "climate": Climate,
    "at": At,
    "store": Store,
}
Returned = TypeVar("Returned")


def of_a_job(
    *, weather: str = "job", without: Collection[str] = ()
) -> Callable[[Callable[..., Returned]], Callable[..., Returned]]:
    """Make a command of a function that begins with the desk of a job.

    The command takes the job file, the function's own options, then those of ``OF_A_JOB``, opens
    the desk and hands it over.

    Parameters
    ----------
    weather
        Where the forecast comes from unless the option says.
    without
        Options that the command does not have.
    """
    shared = [name for name in OF_A_JOB if name not in without]

    def decorate(run: Callable[..., Returned]) -> Callable[..., Returned]:
        @functools.wraps(run)
        def command(**given: Any) -> Returned:
            from scheduler.startup import Options, open_desk

            asked = {name: given.pop(name) for name in shared}
            asked.setdefault("weather", weather)
            return run(open_desk(Options(given.pop("job"), **asked)), **given)

        _, *own = inspect.signature(run, eval_str=True).parameters.values()
        told = [option("job", JobFile), *own]
        told += [
            option(name, OF_A_JOB[name], weather if name == "weather" else None) for name in shared
        ]
        take(command, sorted(told, key=lambda one: one.name == "as_json"))
        return command

    return decorate


def option(name: str, kind: Any, default: Any = inspect.Parameter.empty) -> inspect.Parameter:
    """Return a parameter that typer reads as an option, or as an argument."""
    keyword = inspect.Parameter.KEYWORD_ONLY
    return inspect.Parameter(name, keyword, default=default, annotation=kind)


def take(command: Callable[..., object], parameters: Sequence[inspect.Parameter]) -> None:
    """Let a command take these parameters; typer asks for the signature and the annotations."""
    told = [one.replace(kind=inspect.Parameter.KEYWORD_ONLY) for one in parameters]
    command.__signature__ = inspect.Signature(told)  # type: ignore[attr-defined]
    command.__annotations__ = {one.name: one.annotation for one in told}


def show_or_dump(
    as_json: bool,
    document: Mapping[str, object],
    table: Callable[[], RenderableType],
    time_zone: str,
) -> None:
    """Print the documented JSON, or else the table."""
    from scheduler.output.answer_json import dump

    show_or_print(as_json, dump(document, time_zone) if as_json else "", table)


def show_or_print(as_json: bool, text: str, table: Callable[[], RenderableType]) -> None:
    """Print the JSON text that is ready, or else the table."""
    if as_json:
        sys.stdout.write(text + "\n")
        return
    from scheduler.output.screen import show

    show(table())
