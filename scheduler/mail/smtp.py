"""Mail by SMTP (RFC 5321), one recipient a transaction, so that one answer is one person's.

A server takes a message when it answers the end of DATA. Up to there nothing has been taken; from
the first byte of DATA to that answer nobody can know. ``begin`` stands right before DATA.
"""

from __future__ import annotations

import smtplib
import ssl
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from scheduler.interfaces.messages import Message, Reply, Sent
from scheduler.mail_address import mail_address

LOOPBACK: Final = frozenset({"localhost", "127.0.0.1", "::1"})
LONGEST: Final = 200  # characters of what a server says that are kept


@dataclass(frozen=True, slots=True)
class MailServer:
    """Where mail is handed over. The password is in no text of this object."""

    host: str
    port: int
    security: str  # starttls, tls, none
    sender: str  # address that mail comes from
    user: str = ""
    password: str = field(default="", repr=False)
    authority: str = ""  # file of certificates to trust; empty: the system's
    timeout_s: float = 30.0  # for each answer


class Smtp:
    """Hands mail to one server; see ``scheduler.interfaces.protocols.Sender``."""

    def __init__(self, server: MailServer) -> None:
        self._server = server

    def send(self, message: Message, content: bytes, *, begin: Callable[[], bool]) -> Sent:
        """Try once to hand a mail over."""
        try:
            mail_address(message.recipient)  # what smtplib reads into another one goes astray
        except ValueError as error:
            return Sent(Reply.REFUSED, f"no address for a mail server; {error}")
        try:
            with self._opened() as smtp:
                return self._handed_over(smtp, message.recipient, content, begin)
        except smtplib.SMTPAuthenticationError as error:
            return Sent(Reply.LATER, f"login refused: {_said(error.smtp_code, b'')}")
        except (smtplib.SMTPException, OSError) as error:
            return Sent(Reply.LATER, f"{self._place}: {_why(error)}")

    def check(self) -> str:
        """Return why mail cannot be handed over now, empty where it can."""
        try:
            with self._opened() as smtp:
                smtp.noop()
        except smtplib.SMTPAuthenticationError as error:
            return f"{self._place}: login refused ({error.smtp_code}); see CLOSEIN_SMTP_USER"
        except (smtplib.SMTPException, OSError) as error:
            return f"{self._place}: {_why(error)}"
        return ""

    @property
    def _place(self) -> str:
        return f"{self._server.host}:{self._server.port}"

    def _opened(self) -> smtplib.SMTP:
        """Return a connection that is encrypted and logged in as the settings ask."""
        own = self._server
        smtp: smtplib.SMTP
        if own.security == "tls":
            smtp = smtplib.SMTP_SSL(
                own.host, own.port, timeout=own.timeout_s, context=self._context()
            )
        else:
            smtp = smtplib.SMTP(own.host, own.port, timeout=own.timeout_s)
        try:
            if own.security == "starttls":
                smtp.starttls(context=self._context())  # raises where the server has none
            if own.user:
                _log_in(smtp, own)
        except BaseException:
            smtp.close()
            raise
        return smtp

    def _context(self) -> ssl.SSLContext:
        return ssl.create_default_context(cafile=self._server.authority or None)

    def _handed_over(
        self, smtp: smtplib.SMTP, recipient: str, content: bytes, begin: Callable[[], bool]
    ) -> Sent:
        smtp.ehlo_or_helo_if_needed()
        for code, said in (smtp.mail(self._server.sender), smtp.rcpt(recipient)):
            if code // 100 != 2:
                _leave(smtp)
                return _refusal(code, said)
        if not begin():
            _leave(smtp)
            return Sent(Reply.ANOTHERS, "another process has it")
        try:
            code, said = smtp.data(content)
        except smtplib.SMTPDataError as error:  # the server refused before anything left
            return _refusal(error.smtp_code, error.smtp_error)
        except (smtplib.SMTPException, OSError) as error:
            return Sent(Reply.UNKNOWN, f"no answer after sending: {_why(error)}")
        _leave(smtp)
        if code // 100 == 2:
            return Sent(Reply.ACCEPTED, _said(code, said))
        return _refusal(code, said)


def _log_in(smtp: smtplib.SMTP, own: MailServer) -> None:
    try:
        smtp.login(own.user, own.password)
    except UnicodeError:  # without the cause, which would show the password
        raise smtplib.SMTPNotSupportedError(
            "CLOSEIN_SMTP_USER or CLOSEIN_SMTP_PASSWORD has letters beyond ASCII"
        ) from None


def _leave(smtp: smtplib.SMTP) -> None:
    """Say goodbye; the message's fate is settled, so what the server does now changes nothing."""
    try:
        smtp.quit()
    except (smtplib.SMTPException, OSError):
        smtp.close()


def _refusal(code: int, said: bytes | str) -> Sent:
    """Read a refusal: 5xx is for good, all else may be tried again (RFC 5321, 4.2.1)."""
    return Sent(Reply.REFUSED if code // 100 == 5 else Reply.LATER, _said(code, said))


def _said(code: int, said: bytes | str) -> str:
    text = said.decode("utf-8", "replace") if isinstance(said, bytes) else said
    return f"{code} {' '.join(text.split())}".strip()[:LONGEST]


def _why(error: Exception) -> str:
    if isinstance(error, smtplib.SMTPResponseException):
        return _said(error.smtp_code, error.smtp_error)
    reason = str(getattr(error, "strerror", None) or error) or type(error).__name__
    return " ".join(reason.split())[:LONGEST]
