"""Options that several commands share, and how a command prints."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rich.console import RenderableType

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
