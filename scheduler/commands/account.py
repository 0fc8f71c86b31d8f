"""``closein account``: who may sign in, and what they may do."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Literal

import typer

from scheduler.commands.options import Store


def account(
    name: Annotated[
        str,
        typer.Argument(metavar="[NAME]", help="The person's name; without one all are listed."),
    ] = "",
    role: Annotated[
        Literal["owner", "crew", "reader"],
        typer.Option("--role", help="owner: all, crew: reads and logs, reader: reads."),
    ] = "owner",
    releases: Annotated[
        list[str] | None,
        typer.Option("--may-release", metavar="ROLE", help="May release holds as, e.g. engineer."),
    ] = None,
    password_file: Annotated[
        Path | None,
        typer.Option(
            "--password-file", metavar="FILE", help="Its first line is the password; else asked."
        ),
    ] = None,
    close: Annotated[
        bool, typer.Option("--close", help="Close the account; its entries stay.")
    ] = False,
    store: Store = None,
) -> None:
    """Open a person's account or change it, close it, or list who has one."""
    from scheduler.startup_service import accounts_told

    password = _password(password_file) if name and not close else ""
    told = accounts_told(
        store, name, password=password, role=role, releases=tuple(releases or ()), close=close
    )
    sys.stdout.write(told + "\n")


def _password(file: Path | None) -> str:
    """Return the password; never from the command line, where others can read it.

    Raises
    ------
    BadInput
        If the file cannot be read.
    """
    from rules.errors import BadInput

    if file is None:
        asked: str = typer.prompt("Password", hide_input=True, confirmation_prompt=True, err=True)
        return asked
    try:
        return file.read_text(encoding="utf-8").partition("\n")[0].rstrip("\r")
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(f"--password-file {file}: {error}") from error
