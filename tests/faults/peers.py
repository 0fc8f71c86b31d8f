"""Peers that are slow, break off or lie, on this machine: what they do is said byte by byte."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

Manner = Callable[[socket.socket, threading.Event], None]  # the wire, and when to stop


@dataclass
class Peer:
    """A peer that treats each connection in the next manner of its plan; the last one stays."""

    url: str = ""
    plan: list[Manner] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)  # first line of each request

    def next(self) -> Manner:
        return self.plan.pop(0) if len(self.plan) > 1 else self.plan[0]


@contextlib.contextmanager
def peer(*plan: Manner, listens: bool = True) -> Iterator[Peer]:
    """Serve on a port of this machine until the block ends; else it talks at once."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        listening.settimeout(0.05)
        made, stop = (
            Peer(f"http://127.0.0.1:{listening.getsockname()[1]}", list(plan)),
            threading.Event(),
        )
        threads = [threading.Thread(target=_accept, args=(listening, made, stop, listens))]
        threads[0].start()
        try:
            yield made
        finally:
            stop.set()
            threads[0].join()


def _accept(listening: socket.socket, made: Peer, stop: threading.Event, listens: bool) -> None:
    served: list[threading.Thread] = []
    while not stop.is_set():
        with contextlib.suppress(TimeoutError):
            wire, _ = listening.accept()
            served.append(threading.Thread(target=_serve, args=(wire, made, stop, listens)))
            served[-1].start()
    for thread in served:
        thread.join()


def _serve(wire: socket.socket, made: Peer, stop: threading.Event, listens: bool) -> None:
    with wire, contextlib.suppress(OSError):
        wire.settimeout(5.0)
        head = b""
        while listens and b"\r\n\r\n" not in head and (more := wire.recv(65_536)):
            head += more
        made.asked.append(head.partition(b"\r\n")[0].decode("latin-1"))
        made.next()(wire, stop)


def says(raw: bytes) -> Manner:
    """Say these bytes and hang up; fewer than were promised is a body that breaks off."""

    def manner(wire: socket.socket, stop: threading.Event) -> None:
        wire.sendall(raw)

    return manner


def drips(raw: bytes, *, every_s: float = 0.05) -> Manner:
    """Say these bytes one by one, over and over, until somebody hangs up."""

    def manner(wire: socket.socket, stop: threading.Event) -> None:
        while not stop.is_set():
            for byte in raw:
                if stop.wait(every_s):
                    return
                wire.sendall(bytes([byte]))

    return manner


def in_turn(*manners: Manner) -> Manner:
    """Treat one connection in several manners, one after the other."""

    def manner(wire: socket.socket, stop: threading.Event) -> None:
        for one in manners:
            one(wire, stop)

    return manner


def answer(body: bytes, *more: str, status: str = "200 OK", length: int | None = None) -> bytes:
    """Return an HTTP answer; ``length`` is what it promises, else what it has."""
    promised = len(body) if length is None else length
    head = [f"HTTP/1.1 {status}", f"Content-Length: {promised}", "Connection: close", *more]
    return "\r\n".join([*head, "", ""]).encode() + body
