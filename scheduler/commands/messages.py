"""``closein messages``: what was sent, what waits, and what nobody knows the end of."""

from __future__ import annotations

from typing import Annotated

import typer

from scheduler.commands.options import AsJson, Store, show_or_dump


def messages(
    job: Annotated[str | None, typer.Option("--job", metavar="ID", help="Of one job.")] = None,
    alarms: Annotated[
        bool, typer.Option("--alarms", help="Only those that nobody has taken note of.")
    ] = False,
    seen: Annotated[
        int | None, typer.Option("--seen", metavar="NUMBER", help="Take note of this alarm.")
    ] = None,
    who: Annotated[str, typer.Option("--who", metavar="NAME", help="Who takes note of it.")] = "",
    store: Store = None,
    as_json: AsJson = False,
) -> None:
    """List the messages of the service; take note of an alarm with --seen and --who."""
    from scheduler.output.messages_table import messages_document, messages_table
    from scheduler.startup_service import named_store, now, take_note

    opened = named_store(store)
    if seen is not None:
        take_note(opened, seen, who=who, now=now())
    found = opened.outbox.alarms(job) if alarms else opened.outbox.messages(job)
    show_or_dump(as_json, messages_document(found), lambda: messages_table(found), "UTC")
