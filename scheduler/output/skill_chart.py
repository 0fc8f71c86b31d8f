"""Reliability: what came of the chances that were stated, for each task."""

from __future__ import annotations

from itertools import cycle
from typing import TYPE_CHECKING

from scheduler.output.date_chart import Format, drawn
from scheduler.planning.model.job import Job
from scheduler.planning.reports.skill import SkillAnswer

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LEAST = 20  # a tenth with fewer mornings is not drawn


def skill_chart(found: SkillAnswer, job: Job, *, kind: Format = "png") -> bytes:
    """Draw what really came against the chance stated; on the dotted line both agree."""
    return drawn(lambda axes: _draw(axes, found, job), 4.8, kind)


def _draw(axes: Axes, found: SkillAnswer, job: Job) -> None:
    names = {task.id: task.name for task in job.tasks}
    axes.plot([0, 100], [0, 100], color="black", linewidth=0.7, linestyle=(0, (1, 1.5)))
    marks = cycle("osD^v<>*PX")
    held = {row.task for row in found.rows if row.fit < 1.0}
    for task, bins in found.reliability.items():
        if task not in held:
            continue
        drawn_ = [
            (100.0 * one.stated, 100.0 * one.came)
            for one in bins
            if one.mornings >= LEAST and one.stated is not None and one.came is not None
        ]
        if len(drawn_) > 1:
            stated, came = zip(*drawn_, strict=True)
            axes.plot(
                stated, came, color="0.35", linewidth=0.8, marker=next(marks), markersize=4,
                markerfacecolor="white", markeredgecolor="black", label=names[task],
            )  # fmt: skip
    axes.set_xlim(0, 100)
    axes.set_ylim(0, 100)
    axes.set_xlabel("chance of fit work that was stated, %")
    axes.set_ylabel("share that was really fit, %")
    years = f"{found.years[0]} to {found.years[-1]}" if found.years else ""
    axes.set_title(f"{found.station}, {years}\n{found.mornings} mornings, lead days 1 to 7",
                   loc="left")  # fmt: skip
    axes.legend(
        fontsize=6, frameon=False, loc="upper center", bbox_to_anchor=(0.45, -0.13), ncols=2
    )
