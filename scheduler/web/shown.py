"""What was kept as it may be shown now: where it is old, or a window is over, no call says go."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from scheduler.interfaces.protocols import Store
from scheduler.service.page_parts import PAGE, parts_of

HOUR_S = 3600.0
MOST_JOBS = 64  # whose pages stay in memory


@dataclass(frozen=True, slots=True)
class Shown:
    """The newest pages of a job at a moment."""

    number: int  # of the answer they are
    position: int  # number of the last log entry that they were made from
    made: datetime  # UTC
    good_until: datetime
    now: datetime
    parts: Mapping[str, Any]

    @property
    def is_old(self) -> bool:
        """Tell whether nothing on them may say go: too old, or made by a clock that ran ahead."""
        return not self.made <= self.now < self.good_until

    @property
    def age(self) -> str:
        """Return when they were made and how old they are, in words."""
        zone = ZoneInfo(str(self.parts["time_zone"]))
        at = self.made.astimezone(zone).strftime("%a %-d %b %H:%M")
        hours = max((self.now - self.made).total_seconds() / HOUR_S, 0.0)
        told = f"Made {at}, {hours:.0f} h ago"
        return f"{told}: OLD. Nothing here says go." if self.is_old else f"{told}."

    def rows(self) -> list[dict[str, Any]]:
        """Return today's calls; what is old or over is ``not known``, with what it was."""
        return [self._row(row) for row in self.parts["today"]["rows"]]

    def subject(self) -> str:
        """Return the line that says it all, unless it is old."""
        if self.is_old:
            return "What follows is old: not known. Look at the newest message, or ask again."
        return str(self.parts["today"]["subject"])

    def _row(self, row: dict[str, Any]) -> dict[str, Any]:
        over = bool(row["ends"]) and self.now >= datetime.fromisoformat(row["ends"])
        if not (self.is_old or over):
            return {**row, "was": ""}
        why = "old" if self.is_old else "its hours are over"
        return {**row, "call": "not known", "kind": "stop", "was": f"{row['call']}, {why}"}


class Newest:
    """The newest pages of each job, read from the store once for each that is made."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._read: dict[str, tuple[int, Mapping[str, Any] | None]] = {}

    def shown(self, job: str, now: datetime) -> Shown | None:
        """Return what is kept of a job; None where no morning was made by this version yet."""
        last = self._store.last_decision(job, PAGE)
        if last is None:
            return None
        number = last[0]
        read = self._read.get(job)
        if read is None or read[0] != number:
            read = (number, parts_of(self._store.decision(job, number).answer))
            if len(self._read) >= MOST_JOBS:
                self._read.clear()
            self._read[job] = read
        if read[1] is None:
            return None
        made, until = (datetime.fromisoformat(read[1][key]) for key in ("made", "good_until"))
        return Shown(number, last[2], made, until, now, read[1])
