"""What the service works with; ``startup`` chooses it."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from scheduler.interfaces.messages import Watched
from scheduler.interfaces.protocols import Sender, Store
from scheduler.planning.model.job import Job
from scheduler.runs.desk import Desk
from scheduler.service.sending import Leases


@dataclass(slots=True)
class Beats:
    """What one process remembers from beat to beat."""

    last: tuple[datetime, float] | None = None  # the clock, and the steady one, at the last beat
    unwritten: str = ""  # why the last beat could not write to the store
    looked_through: str = ""  # identity of the kept bytes that were looked at last
    damaged: set[str] = field(default_factory=set)  # what was found wrong in kept bytes
    broken: list[tuple[str, str, str, str]] = field(default_factory=list)  # claims not let go yet

    def jump(self, now: datetime, steady_s: float) -> timedelta:
        """Return by how much more the clock has moved since the last beat than time has passed."""
        before, self.last = self.last, (now, steady_s)
        if before is None:
            return timedelta(0)
        return now - before[0] - timedelta(seconds=steady_s - before[1])


@dataclass(frozen=True, slots=True)
class Service:
    """The edges of the service."""

    store: Store
    clock: Callable[[], datetime]  # UTC
    job: Callable[[Watched], Job]  # as its file stands; raises what the file is refused for
    desk: Callable[[Watched, datetime, str], Desk]  # weather: empty as watched, kept, or a source
    senders: Mapping[str, Sender]  # by channel
    sender: str  # address that mail comes from
    page: str = ""  # address of the pages, for links
    leases: Leases = field(default_factory=Leases)
    steady: Callable[[], float] | None = None  # seconds that nobody sets; None: jumps ahead unseen
    beats: Beats = field(default_factory=Beats)
    # Rounds and replans are threads of one process: one of them plans and draws at a time.
    work: threading.Lock = field(default_factory=threading.Lock)
