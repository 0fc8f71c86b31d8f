"""What the store keeps of the service: jobs watched, runs done, messages on their way."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class Step(StrEnum):
    """Where a message stands. The order of the first three is the way of every message."""

    WAITING = "waiting"  # to be sent, at the earliest at ``next_try``
    CLAIMED = "claimed"  # a process has it; nothing of it has left yet, it may be sent again
    SENDING = "sending"  # written down before the first byte of it may leave
    SENT = "sent"  # the mail server said that it has it
    IN_DOUBT = "in_doubt"  # it may or may not have arrived: told, and never sent again
    GIVEN_UP = "given_up"  # refused for good, or tried too often: told


CLOCK = "clock"  # kind of the run that says how the clock jumped; its body: runs not to count
ENDS = frozenset({Step.SENT, Step.IN_DOUBT, Step.GIVEN_UP})
ALARMS = frozenset({Step.IN_DOUBT, Step.GIVEN_UP})


@dataclass(frozen=True, slots=True)
class NewMessage:
    """A message to be queued; one for each job, recipient, kind and local day, never two."""

    job: str
    recipient: str  # mail address or telephone number
    kind: str  # morning, evening, alert:...
    day: str  # the job's local day, ISO
    channel: str  # mail or text
    message_id: str  # fixed here, the same at every try
    content: bytes  # as it leaves


@dataclass(frozen=True, slots=True)
class Message:
    """A message in the outbox."""

    number: int
    job: str
    recipient: str
    kind: str
    day: str
    channel: str
    message_id: str
    content: str  # SHA-256 of its bytes, ``Store.forecast_bytes`` gives them
    step: Step
    tries: int
    next_try: datetime
    claim: str  # who has it
    changed_at: datetime
    told: str  # what the last try said
    seen_by: str = ""  # who has taken note of its alarm


@dataclass(frozen=True, slots=True)
class RunRow:
    """A run of one job that was begun: a morning, an evening, a look at one source."""

    job: str
    kind: str
    slot: str  # local day, or the hour of a look
    claim: str
    tries: int
    begun_at: datetime
    until: datetime  # from then on another process may take it over
    done_at: datetime | None
    told: str  # what stood in its way, empty where nothing
    body: str  # what the next run compares with, JSON


@dataclass(frozen=True, slots=True)
class Watched:
    """A job that the service looks after."""

    job: str
    file: str  # path of the job file
    weather: str  # as ``--weather``
    climate: str  # as ``--climate``, empty: what the store has
    since: datetime


class Reply(StrEnum):
    """How a try to send ended, as far as can be known."""

    ACCEPTED = "accepted"
    LATER = "later"  # surely not taken, and it may be tried again
    REFUSED = "refused"  # surely not taken, and never will be
    UNKNOWN = "unknown"  # it left, and no answer came
    ANOTHERS = "anothers"  # another process has the message; nothing left


@dataclass(frozen=True, slots=True)
class Sent:
    """How a try to send ended, and what was said; never with a secret in it."""

    reply: Reply
    told: str
