"""Requests that end: cut when time is up, of so many bytes, and whole.

A time-out of requests counts from byte to byte: a server that says its head, its handshake or the
length of a chunk one byte at a time would never be late. So another thread cuts the wire. Only the
look-up of a server's name lies outside of that.
"""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from http.client import HTTPException
from typing import Any
from weakref import WeakSet

from requests import PreparedRequest, ReadTimeout, RequestException, Response
from requests.adapters import HTTPAdapter
from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.connectionpool import HTTPConnectionPool, HTTPSConnectionPool
from urllib3.exceptions import HTTPError


class BrokenOff(RequestException):
    """The answer began and did not end, or is no answer of HTTP."""


class Unfit(RequestException):
    """The answer is whole and of status 200, and is none that was asked for."""


class Cutting(HTTPAdapter):
    """An adapter whose connections can be cut while another thread waits for them."""

    def __init__(self) -> None:
        self._lines: WeakSet[_Cuttable] = WeakSet()
        super().__init__()

    def init_poolmanager(self, *args: Any, **options: Any) -> None:
        """Make connections that can be cut."""
        super().init_poolmanager(*args, **options)
        self.poolmanager.pool_classes_by_scheme = _pools(self._lines)

    def proxy_manager_for(self, *args: Any, **options: Any) -> Any:
        """Make connections to a proxy that can be cut."""
        manager = super().proxy_manager_for(*args, **options)
        manager.pool_classes_by_scheme = _pools(self._lines)
        return manager

    @contextmanager
    def within(self, left_s: float) -> Iterator[None]:
        """Cut what is still waited for after so many seconds.

        Raises
        ------
        ReadTimeout
            If it was cut; a head that ends there would read as one that is whole.
        """
        late = threading.Event()
        timer = threading.Timer(max(left_s, 0.0), self._cut, [late])
        timer.daemon = True
        timer.start()
        try:
            yield
            if late.is_set():
                raise ReadTimeout("the answer came too slowly")
        finally:
            timer.cancel()
            for line in list(self._lines):
                line.release()

    def _cut(self, late: threading.Event) -> None:
        late.set()
        for line in list(self._lines):
            line.cut()


class Bounded(Cutting):
    """Reads a body while time is left, only so many bytes, and only one that is fit to be kept."""

    def __init__(
        self,
        *,
        pace: Callable[[], None],
        left_s: Callable[[], float],
        largest: int,
        unfit: Callable[[bytes], str],
    ) -> None:
        super().__init__()
        self._pace, self._left_s, self._largest, self._unfit = pace, left_s, largest, unfit

    def send(self, request: PreparedRequest, *args: Any, **options: Any) -> Response:
        """Send a request and read its whole answer.

        Raises
        ------
        RequestException
            If there is no answer, not a whole one in time, or none that is fit: a cache above this
            then keeps what it has.
        """
        self._pace()
        options["stream"] = True
        with self.within(self._left_s()):
            response = super().send(request, *args, **options)
            try:
                body = self._body(response, request)
            except (HTTPError, HTTPException, OSError) as error:
                response.close()
                if isinstance(error, RequestException):
                    raise
                raise BrokenOff(f"the answer broke off ({error})", request=request) from error
        why = self._unfit(body) if response.status_code == 200 else ""
        if why:
            raise Unfit(why, request=request)
        response._content = body
        return response

    def _body(self, response: Response, request: PreparedRequest) -> bytes:
        body = bytearray()
        # read1 hands over what has come; iter_content would wait for its whole chunk
        while chunk := response.raw.read1(65_536, decode_content=True):
            body += chunk
            if self._left_s() <= 0:
                raise ReadTimeout("the answer came too slowly", request=request)
            if len(body) > self._largest:
                raise RequestException("the answer is far too large", request=request)
        return bytes(body)


class _Cuttable(HTTPConnection):
    """A connection that another thread may cut, whatever it waits for."""

    lines: WeakSet[_Cuttable]
    _wire: socket.socket | None = None  # the same wire; TLS takes the first handle away

    def _new_conn(self) -> socket.socket:
        made = super()._new_conn()
        self._let_go()
        self._wire = made.dup()
        self.lines.add(self)
        return made

    def cut(self) -> None:
        """End what is said and heard on the wire."""
        wire = self._wire
        if wire is not None:
            with suppress(OSError):  # the other side has ended it
                wire.shutdown(socket.SHUT_RDWR)

    def release(self) -> None:
        """Let the wire go where the connection is closed; else the other side sees no end."""
        if self.sock is None:
            self._let_go()

    def _let_go(self) -> None:
        wire, self._wire = self._wire, None
        if wire is not None:
            wire.close()

    def __del__(self) -> None:
        self._let_go()


class _CuttableTls(_Cuttable, HTTPSConnection):
    """The same over TLS."""


def _pools(known: WeakSet[_Cuttable]) -> dict[str, type[HTTPConnectionPool]]:
    """Return the kinds of pools whose connections can be cut by one adapter."""

    class Line(_Cuttable):
        lines = known

    class TlsLine(_CuttableTls):
        lines = known

    class Pool(HTTPConnectionPool):
        ConnectionCls = Line

    class TlsPool(HTTPSConnectionPool):
        ConnectionCls = TlsLine

    return {"http": Pool, "https": TlsPool}
