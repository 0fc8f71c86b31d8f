"""The outbox's way: claim, write down, send, write down how it ended.

At most once, and never lost in silence. A message may leave only after ``sending`` is on disk.
A crash before that leaves it ``claimed``: nothing has left, and it is tried again with the same
id. A crash after it, or a server that falls silent, leaves a message that may have arrived: it is
``in doubt``, an alarm, and is not sent again. So every message ends as accepted or as an alarm.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from rules.errors import StoreFault
from scheduler.interfaces.messages import Message, Reply, Sent, Step
from scheduler.interfaces.protocols import Sender, Store

LOG: Final = logging.getLogger("closein.mail")
# Minutes until the next try. Mail servers hold a stranger off for minutes, and an outage takes
# hours (RFC 5321, 4.5.4.1 asks for 30 minutes; the first tries are sooner since a morning
# message is of use in the morning: common practice, no source).
BACK_OFF_MIN: Final = (1, 2, 5, 10, 15, 30, 30, 60, 60, 120, 120)


@dataclass(frozen=True, slots=True)
class Leases:
    """How long a process may take before another one thinks it gone."""

    run: timedelta = timedelta(minutes=15)
    claim: timedelta = timedelta(minutes=10)
    sending: timedelta = timedelta(minutes=10)


def send_due(
    store: Store,
    senders: Mapping[str, Sender],
    *,
    clock: Callable[[], datetime],
    leases: Leases = Leases(),
    most: int = 1000,
) -> int:
    """Send what is due and return how many tries that took."""
    for doubtful in store.outbox.doubt(now=clock()):
        _tell(doubtful, Step.IN_DOUBT, doubtful.told)
    for count in range(most):
        now = clock()
        message = store.outbox.claim(now=now, until=now + leases.claim)
        if message is None:
            return count
        try:
            _send(store, senders, message, clock, leases)
        except StoreFault as fault:  # its lease ends, and then it is tried again or in doubt
            LOG.error("message not settled", extra={"job": message.job, "told": str(fault)})
    return most


def _send(
    store: Store,
    senders: Mapping[str, Sender],
    message: Message,
    clock: Callable[[], datetime],
    leases: Leases,
) -> None:
    left = False

    def begin() -> bool:
        nonlocal left
        now = clock()
        left = store.outbox.begin(message, now=now, until=now + leases.sending)
        return left

    try:
        sent = _handed_over(store, senders, message, begin)
    except StoreFault as fault:  # a lock or a full disk passes; damaged bytes end as an alarm
        sent = Sent(Reply.UNKNOWN if left else Reply.LATER, str(fault))
    except Exception as error:  # one message's bug must not keep the others from leaving
        LOG.exception("message failed", extra={"job": message.job, "number": message.number})
        why = f"an error of Closein's own, {type(error).__name__}; see its log"
        sent = Sent(Reply.UNKNOWN if left else Reply.REFUSED, why)
    if sent.reply is Reply.ANOTHERS:
        return
    step, wait = after(sent.reply, message.tries)
    now = clock()
    if store.outbox.settle(message, step, now=now, told=sent.told, next_try=now + wait):
        _tell(message, step, sent.told)


def _handed_over(
    store: Store, senders: Mapping[str, Sender], message: Message, begin: Callable[[], bool]
) -> Sent:
    if message.channel not in senders:
        return Sent(Reply.LATER, f"no way to send {message.channel} is set")
    content = store.forecast_bytes(message.content)
    return senders[message.channel].send(message, content, begin=begin)


def after(reply: Reply, tries: int) -> tuple[Step, timedelta]:
    """Return where a message stands after a try, and how long it waits there."""
    ends = {
        Reply.ACCEPTED: Step.SENT,
        Reply.REFUSED: Step.GIVEN_UP,
        Reply.UNKNOWN: Step.IN_DOUBT,
    }
    if reply in ends:
        return ends[reply], timedelta(0)
    if tries > len(BACK_OFF_MIN):
        return Step.GIVEN_UP, timedelta(0)
    return Step.WAITING, timedelta(minutes=BACK_OFF_MIN[tries - 1])


def _tell(message: Message, step: Step, told: str) -> None:
    level = logging.INFO if step in {Step.SENT, Step.WAITING} else logging.ERROR
    LOG.log(
        level,
        "message %s",
        step.value,
        extra={
            "job": message.job,
            "number": message.number,
            "kind": message.kind,
            "tries": message.tries,
            "told": told,
        },
    )
