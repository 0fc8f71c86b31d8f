"""The ``closein`` command: reads options, calls one run, prints what it returns."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from rules.errors import CloseinError

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
    str, typer.Option(metavar="nws|FILE", help="Where the forecast comes from.", show_default=True)
]
Observed = Annotated[
    Path | None, typer.Option(metavar="FILE", help="Weather observed at the place so far.")
]
Climate = Annotated[
    Path | None, typer.Option(metavar="FILE", help="Past years at the place, daily or hourly.")
]
At = Annotated[
    str | None,
    typer.Option(metavar="TIME", help="Answer as of this moment; later entries do not exist."),
]
Store = Annotated[
    str | None, typer.Option(metavar="ADDRESS", help="The store; else CLOSEIN_STORE.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the documented JSON.")]


def main(arguments: list[str] | None = None) -> int:
    """Run the command and return its exit code; faults are printed one a line."""
    try:
        code: Any = app(args=arguments, standalone_mode=False)
    except CloseinError as error:
        for line in error.lines():
            sys.stderr.write(f"closein: {line}\n")
        return error.exit_code
    except typer.Exit as stop:
        return stop.exit_code
    except typer.Abort:
        sys.stderr.write("closein: stopped\n")
        return 130
    return code if isinstance(code, int) else 0
