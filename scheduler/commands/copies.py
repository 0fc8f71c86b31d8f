"""``closein backup``, ``restore`` and ``export``: copies of the store while it is in use."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from scheduler.commands.options import Store

File = Annotated[Path, typer.Argument(metavar="FILE")]


def backup(file: File, store: Store = None) -> None:
    """Copy the store to a new file; the service may run meanwhile. The copy is checked."""
    from scheduler.startup_service import named_store
    from scheduler.store.copies import backup as run

    count = run(named_store(store), file)
    sys.stdout.write(f"wrote {file}: {count} records, checked\n")


def restore(
    file: File,
    store: Store = None,
    lose: Annotated[
        bool, typer.Option("--lose", help="Records that the copy does not have may be lost.")
    ] = False,
) -> None:
    """Put a copy in the store's place, lost or damaged; what was there is kept beside it."""
    from scheduler.startup_service import now, store_address
    from scheduler.store.copies import restore as run
    from scheduler.store.copies import store_file

    done = run(file, store_file(store_address(store)), now=now(), lose=lose)
    was = f"what was there is {done.kept_as}" if done.kept_as else "no store was there"
    sys.stdout.write(f"put back {done.records} records; {was}\n")
    if done.uncounted:
        sys.stdout.write(
            "it cannot be read: what was written since the copy was made is lost with it; "
            "write it down again\n"
        )
    for unknown in done.unknown:
        sys.stdout.write(f"not known since the copy was made: {unknown}\n")
    if done.in_doubt:
        sys.stdout.write(
            f"{done.in_doubt} messages that waited when the copy was made are in doubt: "
            "they may have been sent since and are not sent again\n"
        )


def export(
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="A new ZIP file.")],
    job: Annotated[str | None, typer.Option("--job", metavar="ID", help="Of one job.")] = None,
    store: Store = None,
) -> None:
    """Write all records with forecasts, answers and letters, and how to check them."""
    from scheduler.startup_service import named_store
    from scheduler.store.copies import export as run

    count = run(named_store(store), out, job=job)
    sys.stdout.write(f"wrote {out}: {count} records\n")
