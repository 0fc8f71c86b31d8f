"""The messages of the service as a table and as data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from rich.console import RenderableType
from rich.table import Table

from scheduler.interfaces.messages import Message, Step

MESSAGES_VERSION: Final = "closein-messages/1"
STEP_WORDS: Final = {
    Step.WAITING: "waits",
    Step.CLAIMED: "at hand",
    Step.SENDING: "being sent",
    Step.SENT: "sent",
    Step.IN_DOUBT: "IN DOUBT, not sent again",
    Step.GIVEN_UP: "NOT SENT",
}


def messages_table(found: Sequence[Message]) -> RenderableType:
    """Return one row a message, in the order they were queued."""
    if not found:
        return "no messages"
    table = Table(box=None, pad_edge=False)
    for head in ("no.", "job", "day", "what", "to", "stands", "changed (UTC)", "the last said"):
        table.add_column(head, overflow="fold")
    for one in found:
        stands = STEP_WORDS[one.step] + (f", seen by {one.seen_by}" if one.seen_by else "")
        changed = f"{one.changed_at:%Y-%m-%d %H:%M}"
        table.add_row(
            str(one.number), one.job, one.day, one.kind, one.recipient, stands, changed, one.told
        )
    return table


def messages_document(found: Sequence[Message]) -> dict[str, object]:
    """Return the same for ``--json``."""
    return {"version": MESSAGES_VERSION, "messages": list(found)}
