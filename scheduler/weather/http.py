"""Requests to public weather services: polite, cached, and over in a stated time.

Answers are kept as their Cache-Control, Last-Modified and ETag allow. A refusal that may heal is
tried again with growing pauses while the budget lasts; then the last good answer is taken, with
its age told, and only then is there none. Libraries are imported when the first request is made.
"""

from __future__ import annotations

import random
import sqlite3
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from rules.errors import WeatherUnavailable

if TYPE_CHECKING:
    import requests

HEAL: Final = frozenset({429, 500, 502, 503, 504})  # statuses that another try may mend
KEPT: Final = (200, 301, 302, 307, 308, 404)  # statuses worth keeping; a 404 says for how long
LARGEST_BYTES: Final = 16_000_000
LONGEST_WAIT_S: Final = 15.0  # for one answer to begin or go on
FIRST_PAUSE_S: Final = 1.0
UNDATED_S: Final = 60  # how long an answer is fresh that does not say


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer as it came."""

    url: str
    status: int
    headers: Mapping[str, str]
    body: bytes
    kept_from: datetime | None = None  # UTC; set where an older, kept answer stands in

    @property
    def html(self) -> bool:
        """Tell whether the body is a page for people."""
        return "html" in self.headers.get("content-type", "") or b"<html" in self.body.lower()


class Refused(Exception):
    """An answer that is no use, or none at all; ``heals`` says whether to try again."""

    def __init__(self, why: str, *, heals: bool, after_s: float | None = None) -> None:
        self.why, self.heals, self.after_s = why, heals, after_s
        super().__init__(why)


Unfit = Callable[[bytes], str]


def _fits(_: bytes) -> str:
    return ""


@dataclass
class Fetcher:
    """Gets answers for one service, all within one budget of time."""

    agent: str  # User-Agent, with a contact
    budget_s: float
    explain: Callable[[Answer], Refused]  # why an answer other than 200 is no use
    cache: Path | None = None  # folder for kept answers; None: none are kept
    sleep: Callable[[float], None] = time.sleep
    clock: Callable[[], float] = time.monotonic
    gap_s: float = 0.0  # least time from one request on the wire to the next
    notes: list[str] = field(default_factory=list, init=False)  # what a person should know
    _deadline: float = field(default=0.0, init=False)
    _asked: float = field(default=-1e9, init=False)
    _unfit: Unfit = field(default=_fits, init=False)  # of the request under way

    def start(self) -> None:
        """Start the budget: what follows must be over in ``budget_s`` seconds."""
        self._deadline = self.clock() + self.budget_s

    def get(self, url: str, *, once: bool = False, unfit: Unfit = _fits) -> Answer:
        """Return the answer of this address; with ``once`` a refusal is not tried again.

        Parameters
        ----------
        unfit : callable
            Why a body of status 200 is none that was asked for, empty where it is one. What is
            unfit never takes the place of what is kept.

        Raises
        ------
        WeatherUnavailable
            If there is none within the budget and none was kept.
        """
        pause, self._unfit = FIRST_PAUSE_S, unfit
        told: Refused | None = None
        while True:
            try:
                return self._once(url)
            except Refused as refused:
                if told is None or self._left_s() > 0:  # a try cut short says less than one before
                    told = refused
                wait = max(pause * random.uniform(0.75, 1.25), refused.after_s or 0.0)  # noqa: S311
                if once or not refused.heals or self.clock() + wait >= self._deadline:
                    return self._kept_or_raise(url, told)
            self.sleep(wait)
            pause *= 2

    def _once(self, url: str) -> Answer:
        left = self._left_s()
        if left <= 0:
            raise Refused(f"no time left of {self.budget_s:g} s", heals=False)
        wait = min(LONGEST_WAIT_S, left)
        try:
            answer = _answer(self._session.get(url, timeout=(wait, wait)))
        except sqlite3.Error as error:  # the cache's disk is full, or its file is spoilt
            self._keep_nothing(error)
            return self._once(url)
        except Exception as error:
            refused = _refused(error, late=self._left_s() <= 0)
            if refused is None:
                raise
            raise refused from error
        if answer.status != 200:
            raise self.explain(answer)
        why = self._unfit(answer.body)  # of one that an earlier Closein has kept
        if why:
            raise Refused(why, heals=True)
        return answer

    def _left_s(self) -> float:
        return self._deadline - self.clock()

    def _keep_nothing(self, error: sqlite3.Error) -> None:
        import requests

        self.notes.append(f"answers are not kept: {error}")
        self._session = self._prepared(requests.Session())

    def _pace(self) -> None:
        """Wait until a polite time has passed since the last request that was really sent."""
        wait = self.gap_s - (self.clock() - self._asked)
        if wait > 0:
            self.sleep(wait)
        self._asked = self.clock()

    def _kept_or_raise(self, url: str, refused: Refused) -> Answer:
        session: Any = self._session
        if hasattr(session, "cache"):
            session.settings.stale_if_error = True
            try:
                kept = session.get(url, only_if_cached=True)
            except sqlite3.Error as error:
                raise WeatherUnavailable(f"{url}: {refused.why}; {error}") from error
            finally:
                session.settings.stale_if_error = False
            if kept.status_code == 200 and not self._unfit(bytes(kept.content)):
                return _answer(kept, kept_from=kept.created_at.replace(tzinfo=UTC))
        raise WeatherUnavailable(f"{url}: {refused.why}")

    @cached_property
    def _session(self) -> requests.Session:
        import requests

        return self._prepared(self._caching_session() or requests.Session())

    def _prepared(self, session: requests.Session) -> requests.Session:
        from scheduler.weather.bounded import Bounded

        session.headers.update({"User-Agent": self.agent, "Accept": "application/geo+json"})
        session.max_redirects = 3
        adapter = Bounded(
            pace=self._pace,
            left_s=self._left_s,
            largest=LARGEST_BYTES,
            unfit=lambda body: self._unfit(body),  # noqa: PLW0108 - each request has its own
        )
        session.mount("https://", adapter)
        session.mount("http://", adapter)
        return session

    def _caching_session(self) -> requests.Session | None:
        """Return a session that keeps answers; None where none are to be kept, or cannot be."""
        if self.cache is None:
            return None
        import requests_cache

        try:
            self.cache.mkdir(parents=True, exist_ok=True)
            session = requests_cache.CachedSession(
                str(self.cache / "answers.sqlite"),
                backend="sqlite",
                cache_control=True,
                expire_after=UNDATED_S,
                allowable_codes=KEPT,
            )
            len(session.cache.responses)  # a broken file shows here, not in mid request
        except (OSError, sqlite3.Error) as error:
            self.notes.append(f"answers are not kept: {error}")
            return None
        return session


def _refused(error: Exception, *, late: bool) -> Refused | None:
    """Return what a failed request is for a person; None for a bug."""
    import requests
    import urllib3

    from scheduler.weather.bounded import BrokenOff, Unfit

    if isinstance(error, requests.TooManyRedirects):
        return Refused("the service sends the request round in circles", heals=False)
    if isinstance(error, requests.Timeout) or late:
        return Refused("the service did not answer in time", heals=True)
    if isinstance(error, BrokenOff | Unfit):
        return Refused(str(error), heals=True)
    if isinstance(error, requests.RequestException | urllib3.exceptions.HTTPError | ValueError):
        return Refused(f"the service could not be reached ({_root(error)})", heals=True)
    return None


def _answer(response: Any, kept_from: datetime | None = None) -> Answer:
    return Answer(
        url=str(response.url),
        status=int(response.status_code),
        headers={key.lower(): str(value) for key, value in response.headers.items()},
        body=bytes(response.content),
        kept_from=kept_from,
    )


def retry_after_s(answer: Answer) -> float | None:
    """Return how long the server asks to wait, None where it does not say in seconds."""
    told = answer.headers.get("retry-after", "")
    return float(told) if told.isdigit() else None


def _root(error: BaseException) -> str:
    """Return the first cause in plain words, without addresses of objects."""
    while (cause := error.__cause__ or error.__context__) is not None:
        error = cause
    return str(error) or type(error).__name__
