"""A real SMTP server that can be told to misbehave, and remembers what it took."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import ssl
from collections.abc import Iterator
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session


@dataclass
class Behaviour:
    """What the server does to the next mails; the last one stays."""

    plan: list[str] = field(default_factory=lambda: ["accept"])
    took: list[EmailMessage] = field(default_factory=list)
    seen: list[str] = field(default_factory=list)

    def next(self) -> str:
        return self.plan.pop(0) if len(self.plan) > 1 else self.plan[0]

    @property
    def ids(self) -> list[str]:
        return [str(mail["Message-ID"]) for mail in self.took]


class Handler:
    def __init__(self, behaviour: Behaviour) -> None:
        self.behaviour, self.now = behaviour, "accept"

    async def handle_MAIL(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        self.now = self.behaviour.next()
        self.behaviour.seen.append(self.now)
        if self.now == "drop at mail":
            server.transport.abort()
        envelope.mail_from = address
        return "451 4.3.0 try later" if self.now == "4xx at mail" else "250 ok"

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if self.now == "5xx at rcpt":
            return "550 5.1.1 no such person"
        if self.now == "4xx at rcpt":
            return "450 4.2.0 greylisted"
        envelope.rcpt_tos.append(address)
        return "250 ok"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        """Called once the last dot has come: from here on the server has the mail."""
        if self.now == "4xx after data":
            return "452 4.3.1 no room"
        if self.now == "5xx after data":
            return "554 5.6.0 not taken"
        if self.now == "drop after data":
            server.transport.abort()
            return "250 never heard"
        if self.now == "slow":
            await asyncio.sleep(0.3)
        assert isinstance(envelope.content, bytes)
        mail = message_from_bytes(envelope.content, policy=policy.default)
        self.behaviour.took.append(mail)  # type: ignore[arg-type]
        if self.now == "take and drop":
            server.transport.abort()
        if self.now == "take and hang":
            await asyncio.sleep(5)
        return "250 2.0.0 taken"


@contextlib.contextmanager
def serving(behaviour: Behaviour, **how: Any) -> Iterator[Controller]:
    controller = Controller(Handler(behaviour), hostname="127.0.0.1", port=free_port(), **how)
    controller.start()
    try:
        yield controller
    finally:
        controller.stop()


def free_port() -> int:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        return int(asked.getsockname()[1])


def secured(certificate: str, key: str) -> ssl.SSLContext:
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(certificate, key)
    return context
