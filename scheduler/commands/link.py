"""``closein link``: who may read a job's pages."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from scheduler.commands.options import Store


def link(
    job: Annotated[
        str, typer.Argument(metavar="ID", help="The job's id, as closein kept has it.")
    ],
    who: Annotated[str, typer.Option("--who", metavar="NAME", help="Who gets the link.")] = "",
    may_log: Annotated[
        bool, typer.Option("--may-log", help="They may write on the log page as well.")
    ] = False,
    withdraw: Annotated[
        str, typer.Option("--withdraw", metavar="NAME", help="Withdraw every link of a person.")
    ] = "",
    store: Store = None,
) -> None:
    """Give a person a link to a job's pages, withdraw it, or list who has one."""
    from scheduler.startup_service import links_told

    sys.stdout.write(
        links_told(store, job, who=who, may_log=may_log, withdraw_from=withdraw) + "\n"
    )
