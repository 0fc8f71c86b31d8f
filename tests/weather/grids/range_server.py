"""A small object store on this machine: files, byte ranges, and the faults of real servers."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


@dataclass
class Store:
    """Files by path, and how to misbehave; ``faults`` are used up one by one, range by range."""

    files: dict[str, bytes] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)
    asked: list[tuple[str, str]] = field(default_factory=list)  # path and Range header
    agents: set[str] = field(default_factory=set)
    address: str = ""
    etags: list[str] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)


class Handler(BaseHTTPRequestHandler):
    store: Store
    protocol_version = "HTTP/1.1"

    def log_message(self, *_: object) -> None:
        pass

    def do_GET(self) -> None:
        wanted = self.headers.get("Range", "")
        with self.store.lock:
            self.store.asked.append((self.path, wanted))
            self.store.agents.add(self.headers.get("User-Agent", ""))
            fault = self.store.faults.pop(0) if wanted and self.store.faults else ""
        content = self.store.files.get(self.path)
        if content is None or fault == "404":
            return self.answer(404, b"<Error><Code>NoSuchKey</Code></Error>", {})
        if fault.isdigit() and fault != "200":
            return self.answer(int(fault), b"busy", {})
        if not wanted or fault == "200":
            return self.answer(200, content, {})
        first, last = wanted.removeprefix("bytes=").split("-")
        start, end = int(first), min(int(last) if last else len(content) - 1, len(content) - 1)
        if start >= len(content):
            return self.answer(416, b"", {"Content-Range": f"bytes */{len(content)}"})
        return self.part(content, start, end, fault)

    def part(self, content: bytes, start: int, end: int, fault: str) -> None:
        if fault == "shifted":
            start, end = start + 4, end + 4
        if fault == "shorter":
            end -= 10
        body = content[start : end + 1]
        headers = {"Content-Range": f"bytes {start}-{end}/{len(content)}"}
        with self.store.lock:
            headers["ETag"] = self.store.etags.pop(0) if self.store.etags else '"one"'
        if fault == "no range told":
            del headers["Content-Range"]
        if fault == "garbled":
            body = bytes(len(body))
        if fault == "too much":
            body += b"more"
        if fault == "short read":
            return self.answer(206, body[:-7], headers, length=len(body))
        if fault == "short body":
            return self.answer(206, body[:-7], headers)
        return self.answer(206, body, headers)

    def answer(
        self, status: int, body: bytes, headers: dict[str, str], length: int | None = None
    ) -> None:
        self.send_response(status)
        for name, value in headers.items():
            self.send_header(name, value)
        self.send_header("Content-Length", str(len(body) if length is None else length))
        if length is not None:
            self.send_header("Connection", "close")
            self.close_connection = True
        self.end_headers()
        self.wfile.write(body)


class Quiet(ThreadingHTTPServer):
    def handle_error(self, *_: object) -> None:
        """A client that hangs up early, as one that wants a single message does, is no error."""


@contextmanager
def serving() -> Iterator[Store]:
    """Serve a store until the block ends."""
    store = Store()
    handler = type("Bound", (Handler,), {"store": store})
    server = Quiet(("127.0.0.1", 0), handler)
    server.daemon_threads = True
    store.address = f"http://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield store
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
