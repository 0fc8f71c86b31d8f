"""The season question as a picture: the chance of each start date, and the days on cribbing.

Black and white, a phone's width; lines differ by dash and mark.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from scheduler.output.date_chart import Format, date_ticks, drawn, numbers, upright
from scheduler.planning.model.job import Job
from scheduler.planning.season import SeasonAnswer

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def season_chart(found: SeasonAnswer, job: Job, *, kind: Format = "png") -> bytes:
    """Draw the chance of closing in safely against the start date."""
    return drawn(lambda axes: _draw(axes, found, job), 3.6, kind)


def _draw(axes: Axes, found: SeasonAnswer, job: Job) -> None:
    rows = [row for row in found.starts if row.chance is not None]
    days = numbers([row.day for row in rows])
    chance = [100.0 * (row.chance or 0.0) for row in rows]
    planned = [100.0 * (row.planned_on or 0.0) for row in rows]
    axes.plot(days, chance, color="black", linewidth=1.6, marker="o", markersize=2.5)
    axes.plot(days, planned, color="black", linewidth=0.8, linestyle=(0, (3, 1.5)))
    wanted = 100.0 * found.confidence
    axes.axhline(wanted, color="black", linewidth=0.8, linestyle=(0, (1, 1.5)))
    axes.fill_between(
        days, 0, planned, where=[one < wanted for one in planned], step=None,
        facecolor="0.88", hatch="////", edgecolor="0.7", linewidth=0.3,
    )  # fmt: skip
    axes.set_ylim(0, 104)
    axes.set_ylabel("closed in before a limit is passed, %")
    axes.set_xlabel(f"start of work; dotted: {wanted:.0f} % wanted; dashed: one more year lost")
    axes.set_title(f"{job.name}\nChance by start date, past years", loc="left")
    span = numbers([row.day for row in found.starts])
    if not span:
        return
    marks = [
        (found.last_start, "last sensible", "solid"),
        (found.next_start, "again", (0, (4, 2))),
    ]
    upright(
        axes, [(day, name, dash) for day, name, dash in marks if day is not None], span, top=0.6
    )
    date_ticks(axes, span)
