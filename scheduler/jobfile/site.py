"""Whether a site's longitude can lie in its time zone: a lost minus sign is found here."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Final

from rules.errors import JobFileFault
from scheduler.jobfile.faults import fault_at
from scheduler.jobfile.fields import zone_of
from scheduler.jobfile.tree import Node

# A zone's clock and its sun differ by 3.5 h at most on land (western China keeps Beijing time);
# a wrong sign differs by more wherever the longitude is beyond 30 degrees.
MOST_APART_DEG: Final = 60.0


def site_clashes(tree: Node, file: str) -> Iterator[JobFileFault]:
    """Yield a fault where longitude and time zone cannot both be right."""
    zone = zone_of(tree.text("site", "time_zone"))
    try:
        longitude = float(tree.text("site", "longitude") or "nan")
    except ValueError:
        return
    if zone is None or not -180 <= longitude <= 180:
        return
    offset = datetime(2026, 1, 1, tzinfo=zone).utcoffset()
    sun = 15.0 * offset.total_seconds() / 3600.0 if offset is not None else longitude
    apart = abs((longitude - sun + 180.0) % 360.0 - 180.0)
    if apart > MOST_APART_DEG:
        want = f"does not lie in {tree.text('site', 'time_zone')}; western longitudes are negative"
        yield fault_at(("site", "longitude"), longitude, want, tree, file)
