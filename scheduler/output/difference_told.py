"""What a new plan changed, in words, as JSON can hold it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from scheduler.output.log_table import entry_line
from scheduler.output.words import clock, words
from scheduler.planning.difference import Difference
from scheduler.planning.job import Job
from scheduler.planning.log import Entry


def difference_told(
    found: Difference, entries: Sequence[Entry], job: Job, at: datetime
) -> dict[str, object]:
    """Return what was written down, what it moved, whom to call with which words, what stays."""
    zone = job.site.time_zone
    was, now = found.close_in
    figures = [f"Close-in was {clock(was, zone)}, is {clock(now, zone)}"]
    if found.late_close_in != (None, None):
        late, later = (clock(m, zone) if m else "after the season" for m in found.late_close_in)
        figures.append(f"In nine of ten scenarios by {late}, now by {later}")
    if found.margin_days.was is not None and found.margin_days.now is not None:
        margin = found.margin_days
        figures.append(f"Margin was {margin.was:g} days, is {margin.now:g}")
    if found.chance.was is not None and found.chance.now is not None:
        figures.append(f"Chance was {found.chance.was:.0%}, is {found.chance.now:.0%}")
    return {
        "at": clock(at, zone),
        "entries": [entry_line(entry, job) for entry in entries],
        "moved": [
            [row.name, clock(row.was, zone), clock(row.now, zone), row.why] for row in found.moved
        ],
        "calls": [
            [words(call.who), clock(call.by, zone) if call.by else "", call.text]
            for call in found.calls
        ],
        "stays": list(found.stays),
        "figures": figures,
    }
