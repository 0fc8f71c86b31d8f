"""Short texts by a generic webhook: one POST of JSON, ``{"to", "text", "id"}``, for each."""

from __future__ import annotations

from collections.abc import Callable

import requests

from scheduler.interfaces.messages import Message, Reply, Sent


class Webhook:
    """Hands short texts to one address; the address may hold a secret and is never told."""

    def __init__(self, address: str, *, timeout_s: float = 30.0) -> None:
        self._address, self._timeout_s = address, timeout_s

    def send(self, message: Message, content: bytes, *, begin: Callable[[], bool]) -> Sent:
        """Try once to hand a text over."""
        if not begin():
            return Sent(Reply.ANOTHERS, "another process has it")
        body = {"to": message.recipient, "text": content.decode(), "id": message.message_id}
        try:
            answer = requests.post(
                self._address,
                json=body,
                headers={"Idempotency-Key": message.message_id},
                timeout=self._timeout_s,
                allow_redirects=False,
            )
        except requests.exceptions.ConnectTimeout:
            return Sent(Reply.LATER, "the webhook cannot be reached")
        except requests.exceptions.RequestException as error:
            never = "NewConnectionError" in repr(error) or "NameResolution" in repr(error)
            told = "the webhook cannot be reached" if never else "no answer from the webhook"
            return Sent(Reply.LATER if never else Reply.UNKNOWN, told)
        return _read(answer.status_code)

    def check(self) -> str:
        """Return nothing: asking would send."""
        return ""


def _read(status: int) -> Sent:
    """Read an HTTP status (RFC 9110): only what surely was not taken may be tried again."""
    told = f"the webhook says {status}"
    if status // 100 == 2:
        return Sent(Reply.ACCEPTED, told)
    if status in {408, 425, 429, 503}:
        return Sent(Reply.LATER, told)
    return Sent(Reply.UNKNOWN if status // 100 == 5 else Reply.REFUSED, told)
