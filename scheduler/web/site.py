"""What the pages work with; ``startup_service`` chooses it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from scheduler.interfaces.protocols import Store
from scheduler.service.health import Health
from scheduler.service.posted import Taken
from scheduler.service.visitor import Visitor


@dataclass(frozen=True, slots=True)
class Site:
    """The edges of the pages."""

    store: Store
    clock: Callable[[], datetime]  # UTC
    health: Callable[[], Health]
    take: Callable[[Visitor, Mapping[str, str], bytes], Taken]  # writes a form of the log down
    behind: Callable[[str, int], str]  # job, log position of its pages: why they lack the newest
    why_none: Callable[[str], Sequence[str]]  # why a job has no pages, in words
    alarms: Callable[[str], Sequence[str]]  # messages of a job that may not have arrived
    is_secure: bool = False  # people reach the pages by https, so cookies are sent by it alone
    root: str = ""  # address of the pages as people reach them
