"""What the wall model is asked at a moment, and its answers; ``strength`` makes them.

They stand here because a decision is handed the model together with everything else it may look
at, and strength itself looks at what is known.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from rules.freeze import Fate
from scheduler.planning.model.job import Link, Task


@dataclass(frozen=True, slots=True)
class Gated:
    """A gate as it stands: when it opens, by the deciding model and by the fast one."""

    purpose: str
    opens: datetime | None  # None: not within the hours that are known
    optimistic: datetime | None


@dataclass(frozen=True, slots=True)
class Placing:
    """Fresh work that would be in place at a moment, under the mildest cover that saves it."""

    fate: Fate  # under that cover; NOT_KNOWN where the forecast ends before it resists
    surely: bool  # it freezes by the fast model too, not by the one on the safe side alone
    cover: str  # word of the answer, "" for none
    on_hand: bool
    coldest_c: float  # at its coldest place, until it resists one freeze
    coldest_at: datetime | None
    freeze_safe_at: datetime | None  # None: not within the hours that are known
    gates: tuple[Gated, ...]  # of what waits for it
    known_until: datetime  # end of those hours


@dataclass(frozen=True, slots=True)
class Standing:
    """Finished work as it stands."""

    fate: Fate
    share: float  # of the specified strength by now
    coldest_c: float
    freeze_safe_at: datetime | None
    known_until: datetime
    threatened: bool = False  # it would freeze in the hours to come


class WallModel(Protocol):
    """The wall model on what is known as of one moment."""

    def frozen_under(self, task: Task) -> str:
        """Return the finished work that froze and that a task stands on; "" without any."""

    def standing(self, task: Task) -> Standing | None:
        """Return how finished work stands; None where the model does not judge it."""

    def gate(self, task: Task, link: Link) -> Gated | None:
        """Return the gate of a link behind finished work; None where it has none."""

    def placing(
        self, task: Task, finish: datetime, *, asked: Collection[str] = ()
    ) -> Placing | None:
        """Return what becomes of fresh work in place at a moment; None where not judged."""
