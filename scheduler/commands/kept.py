"""``closein kept``: the answers that were given."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from scheduler.commands.options import Desk, of_a_job


@of_a_job(weather="kept", without=("weather", "observed", "climate"))
def kept(
    desk: Desk,
    number: Annotated[
        int | None, typer.Option(metavar="NUMBER", help="Print this answer as it was given.")
    ] = None,
) -> None:
    """List the answers that were given, or print one again, byte for byte."""
    from scheduler.output.kept_table import kept_table
    from scheduler.output.screen import show

    if number is not None:
        sys.stdout.write(desk.store.decision(desk.job.id, number).answer.decode() + "\n")
        return
    until = desk.now if desk.replay else None
    show(kept_table(desk.store.decisions(desk.job.id, until=until), desk.job))
