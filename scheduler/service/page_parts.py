"""What the pages show of a morning, made once and kept: reading them plans nothing."""

from __future__ import annotations

import json
import logging
from collections.abc import Callable
from typing import Final

from scheduler.output.brief_message import brief_html
from scheduler.output.plan_chart import plan_chart
from scheduler.output.plan_table import plan_lines
from scheduler.output.risk_chart import risk_chart
from scheduler.service.cuts import Said

LOG: Final = logging.getLogger("closein.pages")
PAGE: Final = "page"  # the kind under which they are kept


def page_parts(said: Said) -> str:
    """Return the morning's page and its pictures, as they are kept."""
    planned, job = said.morning.planned, said.job
    lines = plan_lines(planned.answer, job)
    zero, found = planned.frame.hour_zero, planned.answer.date
    hourly = planned.hourly

    def bars() -> bytes:
        return plan_chart(planned.answer, job, hours=hourly, hour_zero=zero, kind="svg")

    def risk() -> bytes:
        return b"" if found is None else risk_chart(found, job, kind="svg")

    return json.dumps(
        {
            "name": job.name,
            "time_zone": job.site.time_zone,
            "units": job.units,
            "tasks": [[line.id, line.name] for line in planned.answer.tasks if not line.done],
            "today": brief_html(said.morning.brief, job, lines, notes=said.notes),
            "bars": _drawn(bars, job.id),
            "risk": _drawn(risk, job.id),
        }
    )


def _drawn(draw: Callable[[], bytes], job: str) -> str:
    """Return a picture, "" where it cannot be drawn: that is logged and stops no morning."""
    try:
        return draw().decode()
    except Exception:  # whatever a chart library stumbles over, the calls must arrive
        LOG.exception("picture of the pages not drawn", extra={"job": job})
        return ""
