"""What a run asks of the edges. Runs know these protocols, never the edges themselves."""

from __future__ import annotations

from typing import Protocol

from scheduler.planning.hours import Forecast
from scheduler.planning.job import Site


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
