"""What a new plan changed, in words, as JSON can hold it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from scheduler.output.log_table import call_rows, entry_line, figure_lines, moved_rows
from scheduler.output.words import clock
from scheduler.planning.model.job import Job
from scheduler.planning.model.log import Entry
from scheduler.planning.reports.difference import Difference


def difference_told(
    found: Difference, entries: Sequence[Entry], job: Job, at: datetime
) -> dict[str, object]:
    """Return what was written down, what it moved, whom to call with which words, what stays."""
    return {
        "at": clock(at, job.site.time_zone),
        "entries": [entry_line(entry, job) for entry in entries],
        "moved": moved_rows(found, job),
        "calls": call_rows(found, job),
        "stays": list(found.stays),
        "figures": figure_lines(found, job),
    }
