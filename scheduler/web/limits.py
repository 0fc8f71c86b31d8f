"""What a request may weigh and how long it may take to arrive."""

from __future__ import annotations

import asyncio
from typing import Final

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from scheduler.service.photos import MOST_BYTES
from scheduler.web.answers import nothing

MOST_FORM: Final = 16_384  # bytes; a note of 200 letters fits many times
MOST_WITH_PHOTO: Final = MOST_BYTES + MOST_FORM
BODY_S: Final = 60.0  # for the whole of it: a photo over a bad line; common practice, no source
PHOTO_ENDS: Final = "/log"


class TooLong(Exception):
    """A body has more bytes than it may."""


class TooSlow(Exception):
    """A body takes longer than it may."""


class Limits:
    """Refuses bodies that are too long or too slow, before anything else sees them."""

    def __init__(self, app: ASGIApp, *, body_s: float = BODY_S) -> None:
        self._app, self._body_s = app, body_s

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on with a guarded body."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        most = MOST_WITH_PHOTO if str(scope["path"]).endswith(PHOTO_ENDS) else MOST_FORM
        ends = asyncio.get_running_loop().time() + self._body_s
        taken, begun, whole = 0, False, False

        async def guarded() -> Message:
            nonlocal taken, whole
            if whole:  # what comes now tells of a browser that has gone, and may take its time
                return await receive()
            try:
                async with asyncio.timeout_at(ends):
                    message = await receive()
            except TimeoutError:
                raise TooSlow from None
            taken += len(message.get("body", b""))
            whole = not message.get("more_body", False)
            if taken > most:
                raise TooLong
            return message

        async def noted(message: Message) -> None:
            nonlocal begun
            begun = True
            await send(message)

        try:
            await self._app(scope, guarded, noted)
        except (TooLong, TooSlow) as error:
            if begun:
                raise
            told = (413, "too long\n") if isinstance(error, TooLong) else (408, "too slow\n")
            response = nothing(*told)
            response.headers["Connection"] = "close"
            await response(scope, receive, send)
