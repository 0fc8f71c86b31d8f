"""The server of the pages: who does not finish asking is not waited for."""

from __future__ import annotations

import asyncio
import errno
import logging
import resource
import socket
from collections import Counter
from ipaddress import IPv6Address, IPv6Network, ip_address
from typing import Any, Final

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S: Final = 10.0  # from the first byte of a request to the end of its head; common practice
IDLE_S: Final = 15  # of a connection between two requests
AT_ONCE: Final = 1000  # connections, where the system allows so many files
OF_ADDRESS: Final = 100  # connections of one address: a crew's phones behind one router have fewer
KEPT_FILES: Final = 256  # of the files the system allows: for the store, a morning, mail, weather
QUIET_S: Final = 60.0  # between two lines about connections that could not be taken
LOG: Final = logging.getLogger("closein.server")
OUT_OF_FILES: Final = {errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM}
STOP_S: Final = 10  # for answers under way when the service ends


def most_open() -> int:
    """Return how many connections may be open: mornings need files too, whoever asks for pages."""
    allowed = resource.getrlimit(resource.RLIMIT_NOFILE)[0]
    if allowed == resource.RLIM_INFINITY:
        return AT_ONCE
    return max(min(AT_ONCE, allowed - KEPT_FILES), 1)


class Doors:
    """Counts who is connected; one address takes only its part, all together leave files over."""

    def __init__(self) -> None:
        self._of: Counter[str] = Counter()
        self._told = -QUIET_S

    def enters(self, address: str, now: float) -> bool:
        """Let a connection in, or not; ``now`` is in seconds of a clock that only goes forward."""
        party, is_far = _party(address)
        if self._of.total() >= most_open() or (is_far and self._of[party] >= OF_ADDRESS):
            self.tell("connections are closed unheard: too many are open", now)
            return False
        self._of[party] += 1
        return True

    def leaves(self, address: str) -> None:
        """Count a connection out."""
        self._of[_party(address)[0]] -= 1
        self._of += Counter()  # what is at nought takes no memory

    def tell(self, says: str, now: float) -> None:
        """Log once a minute: a flood must not fill the disk by way of the log."""
        if now - self._told >= QUIET_S:
            self._told = now
            LOG.warning(says)


def _party(address: str) -> tuple[str, bool]:
    """Return who is behind an address, and whether on another machine.

    A household is given 2^64 addresses of version 6 (RFC 6177), and counts as one. A server of
    this machine that stands before the service asks for many, and bounds its own.
    """
    try:
        known = ip_address(address.partition("%")[0])
    except ValueError:  # a socket in the file system
        return address, False
    if isinstance(known, IPv6Address):
        mapped = known.ipv4_mapped
        if mapped is None:
            return str(IPv6Network((known, 64), strict=False)), not known.is_loopback
        known = mapped
    return str(known), not known.is_loopback


class Impatient(H11Protocol):
    """Closes a connection that is one too many, or whose request has no end of head in time.

    uvicorn bounds the time between requests, not the time that one takes to be said, and answers
    503 to whoever has said a request; a few hundred slow clients would hold every file.
    """

    doors: Doors
    _late: asyncio.TimerHandle | None = None
    _from: str | None = None  # the address, where it was let in

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Let it in and begin to wait for a request, or close it at once."""
        super().connection_made(transport)
        peer = transport.get_extra_info("peername")
        address = str(peer[0]) if isinstance(peer, tuple) else ""
        if not self.doors.enters(address, self.loop.time()):
            transport.abort()
            return
        self._from = address
        self._wait()

    def data_received(self, data: bytes) -> None:
        """Take bytes; the clock runs from the first one to the end of the head."""
        if not self._is_answering() and self._late is None:
            self._wait()
        super().data_received(data)
        if self._is_answering():
            self._stop_waiting()

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop the clock and count it out."""
        self._stop_waiting()
        if self._from is not None:
            self.doors.leaves(self._from)
            self._from = None
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


class Quiet(uvicorn.Server):
    """A server that says in one line a minute that the system has no files left.

    asyncio reports each failed ``accept`` with a traceback, thousands a second.
    """

    def __init__(self, config: uvicorn.Config, doors: Doors) -> None:
        super().__init__(config)
        self._doors = doors

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Listen, with a voice for faults of the loop that does not shout."""
        asyncio.get_running_loop().set_exception_handler(self._loop_fault)
        await super().startup(sockets)

    def _loop_fault(self, loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        fault = context.get("exception")
        if isinstance(fault, OSError) and fault.errno in OUT_OF_FILES:
            self._doors.tell("the system has no files left for connections", loop.time())
        else:
            loop.default_exception_handler(context)


def server_of(app: Any, *, host: str, port: int) -> uvicorn.Server:  # an ASGI app
    """Return a server, not yet running; requests are not logged, their addresses hold tokens."""
    doors = Doors()
    return Quiet(
        uvicorn.Config(
            app,
            host=host,
            port=port,
            http=type("Door", (Impatient,), {"doors": doors}),
            ws="none",
            lifespan="off",
            log_config=None,
            access_log=False,
            server_header=False,
            date_header=True,
            limit_concurrency=AT_ONCE,
            timeout_keep_alive=IDLE_S,
            timeout_graceful_shutdown=STOP_S,
        ),
        doors,
    )
