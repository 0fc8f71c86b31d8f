"""``closein kept``: the answers that were given."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from scheduler.commands.options import At, JobFile, Store


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
