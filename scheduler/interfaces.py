"""What a run asks of the edges. Runs know these protocols, never the edges themselves."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Protocol

from scheduler.planning.hours import Forecast
from scheduler.planning.job import Site
from scheduler.planning.log import Entry
from scheduler.planning.records import Decision, Inputs, KeptForecast


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


class Store(Protocol):
    """What is kept for each job: the log, forecasts as they came, answers with their inputs.

    Nothing is ever changed or taken away. What a method has returned from is on disk. ``job`` is
    the job's id. Every method raises ``StoreFault`` where the store cannot be used.
    """

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

    def decision(self, job: str, seq: int) -> Decision:
        """Return one answer as it was given, byte for byte."""

    def verify(self) -> tuple[str, ...]:
        """Return a line for each thing that was changed behind the store's back; none is good."""

    def close(self) -> None:
        """Let go of what the store holds open."""
