"""What the service works with; ``startup`` chooses it."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from scheduler.interfaces.messages import Watched
from scheduler.interfaces.protocols import Sender, Store
from scheduler.planning.model.job import Job
from scheduler.runs.desk import Desk
from scheduler.service.sending import Leases


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
    # Rounds and replans are threads of one process: one of them plans and draws at a time.
    work: threading.Lock = field(default_factory=threading.Lock)
