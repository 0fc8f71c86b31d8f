"""What a run asks of the edges. Runs know these protocols, never the edges themselves."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from datetime import datetime
from typing import Protocol

from scheduler.interfaces.messages import Message, NewMessage, RunRow, Sent, Step, Watched
from scheduler.interfaces.people import Account, Link, Photo, Seen, Session
from scheduler.interfaces.records import Decision, Inputs, KeptForecast
from scheduler.planning.model.job import Site
from scheduler.planning.model.log import Entry
from scheduler.planning.tables.hours import Forecast


class WeatherSource(Protocol):
    """One public source of hours. ``fetch`` touches the network, ``parse`` is pure."""

    @property
    def name(self) -> str:
        """Return the name that provenance and messages give the source."""

    def fetch(self, site: Site) -> bytes:
        """Return the answer as it came, to be stored and read again.

        Raises
        ------
        WeatherUnavailable
            If no answer could be had; says from where and why.
        """

    def parse(self, raw: bytes) -> Forecast:
        """Return house columns in house units, gaps as NaN.

        Raises
        ------
        Faults
            If the bytes are no answer of this source; one fault for each thing wrong.
        """


class Runs(Protocol):
    """Which jobs the service looks after, and which of their runs were begun and done."""

    def watch(self, watched: Watched) -> None:
        """Look after a job from now on; what it was watched by before is replaced."""

    def forget(self, job: str) -> None:
        """Look after a job no more; what is kept of it stays."""

    def watched(self) -> tuple[Watched, ...]:
        """Return the jobs that are looked after, by id."""

    def claim(self, job: str, kind: str, slot: str, *, now: datetime, until: datetime) -> str:
        """Begin a run and return the claim; empty where it is done or another has it.

        A claim lasts ``until``; then whoever comes next takes the run over.
        """

    def finish(
        self, job: str, kind: str, slot: str, claim: str, *, now: datetime, told: str, body: str
    ) -> bool:
        """Write a run down as done; False where another process has taken it over."""

    def let_go(self, job: str, kind: str, slot: str, claim: str, *, now: datetime) -> int:
        """Let others begin a run that broke off, and return how often it was begun so far."""

    def last(self, job: str, kind: str, count: int = 1) -> tuple[RunRow, ...]:
        """Return the newest runs of a kind that are done and count, newest first."""

    def later_than(self, job: str, moment: datetime) -> tuple[RunRow, ...]:
        """Return the runs that were begun or done after a moment."""

    def ahead(self, job: str) -> frozenset[tuple[str, str]]:
        """Return the runs (kind, slot) that a clock that ran ahead has made; they do not count."""

    def begun(self, job: str, slots: Sequence[tuple[str, str]]) -> tuple[RunRow, ...]:
        """Return which of these runs (kind, slot) were begun, done or not."""


class Outbox(Protocol):
    """Messages on their way. Each leaves at most once; what may be lost is an alarm."""

    def queue(self, messages: Sequence[NewMessage], *, now: datetime, at: datetime) -> int:
        """Queue messages to be sent from ``at`` on; those that are there already stay as is."""

    def claim(self, *, now: datetime, until: datetime) -> Message | None:
        """Take the next message that is due, or one whose process died before it began to send."""

    def begin(self, message: Message, *, now: datetime, until: datetime) -> bool:
        """Write down that the message may leave from now on; False where another has it."""

    def settle(
        self, message: Message, step: Step, *, now: datetime, told: str, next_try: datetime
    ) -> bool:
        """Write down how a try ended; False where another process has the message."""

    def doubt(self, *, now: datetime) -> tuple[Message, ...]:
        """Give up what was being sent by a process that is gone; nobody knows if it arrived."""

    def void(self, job: str, *, after: datetime, now: datetime, told: str) -> tuple[Message, ...]:
        """End what a clock that ran ahead has moved: given up, in doubt where it may have left."""

    def messages(self, job: str | None = None) -> tuple[Message, ...]:
        """Return the messages of a job, or of all, in the order they were queued."""

    def waiting(self) -> tuple[Message, ...]:
        """Return what has not left yet, in the order it was queued."""

    def alarms(self, job: str | None = None) -> tuple[Message, ...]:
        """Return what did not arrive, or may not have, and nobody has taken note of yet."""

    def seen(self, number: int, *, who: str, now: datetime) -> None:
        """Write down who has taken note of an alarm."""


class Sender(Protocol):
    """One way out: a mail server, a service for short texts."""

    def send(self, message: Message, content: bytes, *, begin: Callable[[], bool]) -> Sent:
        """Try once to hand a message over; never raises for what the other side does.

        Parameters
        ----------
        message
            Whom it goes to, and its fixed id.
        content
            The bytes as they leave.
        begin
            Called right before the first byte that could make the other side take the message.
            Where it says False the message is another's and nothing may leave.
        """

    def check(self) -> str:
        """Return what stands in the way of sending, empty where nothing does; sends nothing."""


class People(Protocol):
    """Who may do what. What was given and taken is in the chain; secrets are kept as hashes."""

    def put_account(self, account: Account) -> None:
        """Open an account, or change one; a closed one is signed out everywhere."""

    def accounts(self) -> tuple[Account, ...]:
        """Return the accounts by name, closed ones too."""

    def account(self, name: str) -> Account | None:
        """Return an account that is open; None where there is none of that name."""

    def begin_session(self, session: Session) -> None:
        """Write down that somebody has signed in."""

    def session(self, digest: str, *, now: datetime) -> tuple[Session, Account] | None:
        """Return a session that lasts, with its open account; None where there is none."""

    def end_session(self, digest: str) -> None:
        """Sign out."""

    def end_sessions(self, name: str) -> None:
        """Sign a person out everywhere."""

    def failed(self, who: str, *, now: datetime, forget: datetime) -> None:
        """Write down that a signing-in failed; those before ``forget`` are cleared away."""

    def failures(self, who: str, *, since: datetime) -> int:
        """Return how many failed since a moment."""

    def forget_failures(self, who: str) -> None:
        """Clear away what failed: the person has signed in."""

    def give_link(self, link: Link) -> None:
        """Let a person read a job's pages by a link."""

    def withdraw_links(self, job: str, who: str, *, now: datetime) -> int:
        """Withdraw every link of a person to a job; return how many there were."""

    def links(self, job: str) -> tuple[Link, ...]:
        """Return the links of a job that stand, the oldest first."""

    def link(self, digest: str) -> Link | None:
        """Return the link with that hash; None where it was never given, or is withdrawn."""

    def posted(self, job: str, form: str) -> str | None:
        """Return what a form with that key was answered; None where it was never taken."""

    def post(self, job: str, form: str, *, who: str, told: str, now: datetime) -> None:
        """Write down that a form was taken; once only."""

    def saw(self, job: str, decision: int, who: str, *, now: datetime) -> bool:
        """Write down that a person has opened an answer; False where that is known already."""

    def who_saw(self, job: str) -> tuple[Seen, ...]:
        """Return who opened which answer, in the order of opening."""


class Store(Protocol):
    """What is kept for each job: the log, forecasts as they came, answers with their inputs.

    Nothing is ever changed or taken away. What a method has returned from is on disk. ``job`` is
    the job's id. Every method raises ``StoreFault`` where the store cannot be used.
    """

    @property
    def runs(self) -> Runs:
        """Return the runs of the service."""

    @property
    def outbox(self) -> Outbox:
        """Return the messages of the service."""

    @property
    def people(self) -> People:
        """Return the accounts, sessions and links."""

    def together(self) -> AbstractContextManager[None]:
        """Join all that this thread writes inside into one transaction, all or none."""

    def jobs(self) -> tuple[str, ...]:
        """Return the ids of the jobs that anything is kept for."""

    def append(
        self, job: str, entries: Sequence[Entry], *, entered_at: datetime, after: int | None = None
    ) -> tuple[Entry, ...]:
        """Write entries down, all or none, and return them with their numbers.

        Raises
        ------
        LogMoved
            If ``after`` is given and the log's last number is another by now.
        """

    def entries(self, job: str, *, until: datetime | None = None) -> tuple[Entry, ...]:
        """Return the log in order of writing; ``until`` leaves out what was written later."""

    def keep_forecast(
        self,
        job: str,
        raw: bytes,
        *,
        role: str,
        source: str,
        issued_at: datetime | None,
        received_at: datetime,
    ) -> KeptForecast:
        """Keep weather bytes as they came; the same bytes again are kept once."""

    def forecasts_until(
        self, job: str, moment: datetime, *, role: str = "weather"
    ) -> tuple[KeptForecast, ...]:
        """Return what was issued and had come by a moment, by time of issue, oldest first."""

    def forecast_bytes(self, identity: str) -> bytes:
        """Return the bytes of a kept forecast."""

    def keep_decision(
        self,
        job: str,
        kind: str,
        answer: bytes,
        inputs: Inputs,
        *,
        at: datetime,
        entered_at: datetime,
    ) -> Decision:
        """Keep an answer with what it was made from."""

    def decisions(
        self,
        job: str,
        *,
        kind: str | None = None,
        until: datetime | None = None,
        last: int | None = None,
    ) -> tuple[Decision, ...]:
        """Return the answers kept, or the ``last`` so many of them, oldest first."""

    def last_decision(self, job: str, kind: str) -> tuple[int, datetime, int] | None:
        """Return number, moment and log position of the newest answer of a kind, unread."""

    def log_length(self, job: str) -> int:
        """Return the number of the last log entry; 0: there is none."""

    def keep_photo(
        self, job: str, raw: bytes, *, media_type: str, who: str, now: datetime
    ) -> Photo:
        """Keep a picture as it came; the same bytes again are kept once."""

    def photos(self, job: str) -> tuple[Photo, ...]:
        """Return the pictures of a job, the oldest first."""

    def photo_bytes(self, identity: str) -> bytes:
        """Return the bytes of a kept picture."""

    def decision(self, job: str, seq: int) -> Decision:
        """Return one answer as it was given, byte for byte."""

    def damaged(self, *, after: str, count: int) -> tuple[tuple[str, ...], str]:
        """Look through some kept bytes after an identity; what is wrong, and the last identity.

        The last one is empty where all have been looked through.
        """

    def verify(self) -> tuple[str, ...]:
        """Return a line for each thing that was changed behind the store's back; none is good."""

    def close(self) -> None:
        """Let go of what the store holds open."""
