"""A task tried at one time: the question that rules and papers are asked."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from scheduler.planning.evidence.known import Known
from scheduler.planning.model.answer import Span
from scheduler.planning.model.job import Task, WhatIf


@dataclass(frozen=True, slots=True)
class Trial:
    """What is known, the task, the hours it is tried in, and a measure supposed to be taken."""

    known: Known
    task: Task
    span: Span
    what_if: WhatIf | None = None

    @property
    def what_if_id(self) -> str:
        """Return the name of the supposed measure, empty where none is."""
        return "" if self.what_if is None else self.what_if.id

    @property
    def start(self) -> datetime:
        """Return the beginning of work."""
        return self.span.start

    @property
    def end(self) -> datetime:
        """Return the end of work."""
        return self.span.end

    def at(self, start: datetime) -> Trial:
        """Return the same trial moved to another start."""
        length = self.span.end - self.span.start
        return replace(self, span=Span(start, start + length))
