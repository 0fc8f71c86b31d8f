"""Clocks as machines have them: with fractions of a second, moving at every look, and jumping."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

TICK: Final = timedelta(microseconds=137_211)  # no whole part of a second


@dataclass
class Ticking:
    """A clock that has moved on whenever it is read; ``now`` is where it stands."""

    now: datetime
    tick: timedelta = TICK

    def __call__(self) -> datetime:
        self.now += self.tick
        return self.now

    def jump(self, by: timedelta) -> None:
        """Set the clock, as a time service or a person does."""
        self.now += by
