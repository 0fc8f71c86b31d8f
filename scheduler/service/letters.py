"""A letter as it is queued: its bytes, its fixed id, and the kind that keeps it from doubling."""

from __future__ import annotations

from datetime import datetime

from scheduler.interfaces.messages import NewMessage
from scheduler.output.letter import Letter, letter_bytes, message_id_of, one_line
from scheduler.planning.model.job import Job, Recipient
from scheduler.service.cuts import SHORTEST
from scheduler.service.desks import Service


def new_message(
    service: Service,
    job: Job,
    to: Recipient,
    letter: Letter,
    *,
    kind: str,
    day: str,
    at: datetime,
) -> NewMessage:
    """Return a letter as it is queued, with its fixed id."""
    own = message_id_of(job.id, to.address, kind, day, sender=service.sender)
    if to.channel == "text":
        content = one_line(letter.text, SHORTEST).encode()
    else:
        content = letter_bytes(
            letter, sender=service.sender, recipient=to.address, message_id=own, at=at
        )
    return NewMessage(job.id, to.address, kind, day, to.channel, own, content)


def kind_of(kind: str, to: Recipient) -> str:
    """Return a message's kind for one cut: a person with two roles gets both."""
    own = "" if to.gets == "whole" else f":{to.gets}{f'-{to.crew}' if to.crew else ''}"
    return f"{kind}{own}{':short' if to.short else ''}"
