"""The server of the pages: who does not finish asking is not waited for."""

from __future__ import annotations

import asyncio
from typing import Any, Final

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S: Final = 10.0  # from the first byte of a request to the end of its head; common practice
IDLE_S: Final = 15  # of a connection between two requests
AT_ONCE: Final = 1000  # connections; more are told that the service is busy
STOP_S: Final = 10  # for answers under way when the service ends


class Impatient(H11Protocol):
    """Closes a connection whose request has no end of head in time.

    uvicorn bounds the time between requests, not the time that one takes to be said; a few hundred
    slow clients would hold every connection.
    """

    _late: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for a request."""
        super().connection_made(transport)
        self._wait()

    def data_received(self, data: bytes) -> None:
        """Take bytes; the clock runs from the first one to the end of the head."""
        if not self._is_answering() and self._late is None:
            self._wait()
        super().data_received(data)
        if self._is_answering():
            self._stop_waiting()

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop the clock."""
        self._stop_waiting()
        super().connection_lost(exc)

    def _is_answering(self) -> bool:
        return self.cycle is not None and not self.cycle.response_complete

    def _wait(self) -> None:
        self._late = self.loop.call_later(HEAD_S, self._give_up)

    def _stop_waiting(self) -> None:
        if self._late is not None:
            self._late.cancel()
            self._late = None

    def _give_up(self) -> None:
        self._late = None
        if not self._is_answering() and not self.transport.is_closing():
            self.transport.close()


def server_of(app: Any, *, host: str, port: int) -> uvicorn.Server:  # an ASGI app
    """Return a server, not yet running; requests are not logged, their addresses hold tokens."""
    return uvicorn.Server(
        uvicorn.Config(
            app,
            host=host,
            port=port,
            http=Impatient,
            ws="none",
            lifespan="off",
            log_config=None,
            access_log=False,
            server_header=False,
            date_header=True,
            limit_concurrency=AT_ONCE,
            timeout_keep_alive=IDLE_S,
            timeout_graceful_shutdown=STOP_S,
        )
    )
