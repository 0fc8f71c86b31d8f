"""Single fields by byte range over HTTP, from public object stores.

Every answer is checked before it counts: status 206, the range and the file's size as asked,
every byte of it, the same version of the file from range to range, and a whole GRIB message
where the inventory says one lies. What fails a check is fetched again while time is left, and
never used.

References
----------
RFC 9110 (2022), HTTP semantics, section 14: range requests.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from http.client import HTTPException
from typing import TYPE_CHECKING, Any, Final

from rules.errors import WeatherUnavailable
from scheduler.weather.grids.framing import INDICATOR
from scheduler.weather.grids.inventory import Entry

if TYPE_CHECKING:
    import requests

    from scheduler.weather.bounded import Cutting

RANGE: Final = re.compile(r"bytes (\d+)-(\d+)/(\d+|\*)")
HEALS: Final = frozenset({429, 500, 502, 503, 504})
TRIES: Final = 3
FIRST_PAUSE_S: Final = 0.5
LONGEST_WAIT_S: Final = 20.0  # for an answer to begin or go on
LARGEST_BYTES: Final = 64_000_000  # of one request; a field of the finest grids has below 30 MB
LARGEST_TEXT: Final = 16_000_000  # of an inventory; an ensemble's has 2 MB


class NoSuchFile(WeatherUnavailable):
    """The server has no such file: the run or the hour is not there yet."""


class _TryAgain(Exception):
    """A failure that another try may mend."""


@dataclass
class RangeFetcher:
    """Gets texts and byte ranges within one budget of time."""

    agent: str  # User-Agent, with a contact
    budget_s: float
    sleep: Callable[[float], None] = time.sleep
    clock: Callable[[], float] = time.monotonic
    _deadline: float = field(default=0.0, init=False)

    def start(self) -> None:
        """Start the budget."""
        self._deadline = self.clock() + self.budget_s

    def text(self, url: str) -> str:
        """Return a whole small file as text.

        Raises
        ------
        NoSuchFile
            If the server has no such file.
        WeatherUnavailable
            If it could not be had.
        """
        return self._again(url, self._text).decode("utf-8", "replace")

    def fields(self, url: str, entries: Sequence[Entry]) -> Iterator[bytes]:
        """Yield the messages of the entries, fields that lie side by side in one request.

        Raises
        ------
        WeatherUnavailable
            If a range could not be had, or holds something else than the inventory says.
        """
        version = ""
        for run in side_by_side(entries):
            first, length = run[0].offset, _span(run)

            def ask(url: str, first: int = first, length: int | None = length) -> bytes:
                nonlocal version
                body, version = self._range(url, first, length, version)
                return body

            body = self._again(url, ask)
            yield from _messages(url, body, run)

    def _again(self, url: str, ask: Callable[[str], bytes]) -> bytes:
        import requests
        import urllib3

        pause, told = FIRST_PAUSE_S, ""
        for count in range(TRIES):
            try:
                with self._cutting.within(self._deadline - self.clock()):
                    return ask(url)
            except requests.RequestException as error:
                why = f"the server could not be reached ({type(error).__name__})"
            except (urllib3.exceptions.HTTPError, HTTPException, OSError, ValueError) as error:
                why = f"the answer broke off ({type(error).__name__})"
            except _TryAgain as error:
                why = str(error)
            if (
                not told or self.clock() < self._deadline
            ):  # one cut short says less than one before
                told = why
            if count + 1 == TRIES or self.clock() + pause >= self._deadline:
                break
            self.sleep(pause)
            pause *= 2
        raise WeatherUnavailable(f"{url}: {told}")

    def _text(self, url: str) -> bytes:
        with self._get(url, {}) as response:
            if response.status_code != 200:
                raise _refused(url, response)
            return self._body(response, LARGEST_TEXT)

    def _range(self, url: str, first: int, length: int | None, version: str) -> tuple[bytes, str]:
        """Return one range, checked, and the file's version; an open end stops at a message."""
        last = None if length is None else first + length - 1
        asked = f"bytes={first}-{'' if last is None else last}"
        with self._get(url, {"Range": asked}) as response:
            if response.status_code == 200:
                raise WeatherUnavailable(f"{url}: answers with the whole file, not with a range")
            if response.status_code != 206:
                raise _refused(url, response)
            given = _given_range(url, response)
            if given[0] != first or last not in (None, given[1]):
                told = f"{asked} asked, bytes {given[0]}-{given[1]} given"
                raise WeatherUnavailable(f"{url}: {told}")
            now = response.headers.get("ETag") or response.headers.get("Last-Modified") or ""
            if version and now and now != version:
                raise WeatherUnavailable(f"{url}: the file was replaced while it was read")
            if length is None:
                return self._message(response), now
            body = self._body(response, length)
        if len(body) != length:
            raise _TryAgain(f"{len(body)} of {length} bytes came")
        return body, now

    def _message(self, response: requests.Response) -> bytes:
        """Return the message at the start of an open range; its own length is its end."""
        body = self._body(response, INDICATOR.size, stop=True)
        if len(body) < INDICATOR.size or body[:4] != b"GRIB":
            raise _TryAgain("no message at the start of the range")
        length = INDICATOR.unpack_from(body)[3]
        body += self._body(response, length - len(body), stop=True)
        if len(body) != length:
            raise _TryAgain(f"{len(body)} of {length} bytes came")
        return body

    def _body(self, response: requests.Response, most: int, *, stop: bool = False) -> bytes:
        """Read a body while time is left; with ``stop`` only so many bytes, else no more."""
        if not 0 <= most <= LARGEST_BYTES:
            raise WeatherUnavailable(f"{response.url}: {most} bytes are more than a field has")
        body = bytearray()
        raw: Any = response.raw
        while chunk := raw.read1(min(65_536, most - len(body)) if stop else 65_536):
            body += chunk
            if self.clock() > self._deadline:
                raise _TryAgain(f"no time left of {self.budget_s:g} s")
            if stop and len(body) == most:
                break
            if len(body) > most:
                raise _TryAgain(f"more than {most} bytes came")
        return bytes(body)

    def _get(self, url: str, headers: dict[str, str]) -> requests.Response:
        left = self._deadline - self.clock()
        if left <= 0:
            raise _TryAgain(f"no time left of {self.budget_s:g} s")
        wait = min(LONGEST_WAIT_S, left)
        return self._session.get(url, headers=headers, stream=True, timeout=(wait, wait))

    @cached_property
    def _session(self) -> requests.Session:
        import requests

        session = requests.Session()
        session.headers.update({"User-Agent": self.agent, "Accept-Encoding": "identity"})
        session.max_redirects = 3
        for scheme in ("https://", "http://"):
            session.mount(scheme, self._cutting)
        return session

    @cached_property
    def _cutting(self) -> Cutting:
        from scheduler.weather.bounded import Cutting

        return Cutting()


def side_by_side(entries: Sequence[Entry]) -> Iterator[list[Entry]]:
    """Group entries whose bytes touch, so that each group is one request."""
    group: list[Entry] = []
    for entry in sorted(entries, key=lambda one: one.offset):
        ends = None if not group or group[-1].length is None else _end(group[-1])
        within = group and entry.length is not None and _span([*group, entry]) is not None
        if group and ends is not None and entry.offset <= ends and within:
            group.append(entry)
        else:
            if group:
                yield group
            group = [entry]
    if group:
        yield group


def _end(entry: Entry) -> int:
    return entry.offset + (entry.length or 0)


def _span(group: Sequence[Entry]) -> int | None:
    """Return the bytes of a group, None for an open end or for more than one request may hold."""
    if group[-1].length is None:
        return None
    span = max(_end(entry) for entry in group) - group[0].offset
    return span if span <= LARGEST_BYTES or len(group) == 1 else None


def _messages(url: str, body: bytes, group: Iterable[Entry]) -> Iterator[bytes]:
    """Cut a range into its messages, each checked against the inventory."""
    offsets = sorted({(entry.offset, entry.length or len(body)) for entry in group})
    first = offsets[0][0]
    for offset, length in offsets:
        message = body[offset - first : offset - first + length]
        whole = len(message) >= INDICATOR.size and message[:4] == b"GRIB"
        if not whole or INDICATOR.unpack_from(message)[3] != length or message[-4:] != b"7777":
            raise WeatherUnavailable(
                f"{url}: no whole message of {length} bytes at {offset}; the inventory is of "
                "another version of the file"
            )
        yield message


def _given_range(url: str, response: requests.Response) -> tuple[int, int]:
    told = response.headers.get("Content-Range", "")
    found = RANGE.fullmatch(told)
    if found is None:
        raise WeatherUnavailable(f"{url}: Content-Range is {told!r}")
    return int(found[1]), int(found[2])


def _refused(url: str, response: requests.Response) -> Exception:
    status = response.status_code
    if status in HEALS:
        return _TryAgain(f"status {status}")
    if status in (403, 404):  # object stores that do not list their files say 403
        return NoSuchFile(f"{url}: no such file (status {status})")
    if status == 416:
        return WeatherUnavailable(f"{url}: the file is shorter than its inventory (status 416)")
    return WeatherUnavailable(f"{url}: status {status}")
