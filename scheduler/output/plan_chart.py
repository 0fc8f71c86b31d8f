"""The plan as bars over the hours: what may go on when, what is planned, gates, the safe date.

For a phone held upright and a black-and-white print: nothing is said by colour alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

import numpy as np

from rules.verdict import Verdict, VerdictArray
from scheduler.output.date_chart import Format, date_ticks, drawn, numbers, upright
from scheduler.planning.model.job import Job
from scheduler.planning.plan.plan_answer import Basis, PlanAnswer, PlanLine

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ROW_IN, HEAD_IN = 0.36, 1.6  # height of a task's row, and of title, dates and key together
NAME_LETTERS: Final = 30
STRIP = {  # grey and hatch of the hours that a forecast tells
    Verdict.GO: ("0.96", ""),
    Verdict.GO_WITH_PROTECTION: ("0.82", "||||||"),  # dots make the SVG four times as long
    Verdict.NOT_KNOWN: ("white", "xxxx"),
    Verdict.NO_GO: ("0.55", "////"),
}
BAR = {Basis.FORECAST: "black", Basis.CLIMATE: "0.45", Basis.ASSUMED_FIT: "white"}


def plan_chart(
    plan: PlanAnswer,
    job: Job,
    *,
    hours: Mapping[str, VerdictArray] | None = None,
    hour_zero: datetime | None = None,
    kind: Format = "png",
) -> bytes:
    """Draw the plan.

    Parameters
    ----------
    plan, job : PlanAnswer, Job
        Tasks that are done are left out.
    hours : (hours,), by task, optional
        Verdict of each hour that the forecast tells, from ``hour_zero``, UTC.
    kind : "png" or "svg"
    """
    lines = [line for line in plan.tasks if line.start is not None and not line.done]
    height = HEAD_IN + ROW_IN * max(len(lines), 1)
    return drawn(lambda axes: _draw(axes, plan, lines, job, hours or {}, hour_zero), height, kind)


def _draw(
    axes: Axes,
    plan: PlanAnswer,
    lines: Sequence[PlanLine],
    job: Job,
    hours: Mapping[str, VerdictArray],
    hour_zero: datetime | None,
) -> None:
    zone = ZoneInfo(job.site.time_zone)
    days = _days(plan, lines, zone)
    axes.set_title(f"{job.name}\n{_says(plan, zone)}", loc="left")
    axes.set_ylim(len(lines), -0.6)
    axes.set_yticks([])
    for row, line in enumerate(lines):
        axes.axhline(row + 0.5, color="0.85", linewidth=0.4)
        if hour_zero is not None and line.id in hours:
            _strip(axes, row, hours[line.id], hour_zero, zone)
        _bar(axes, row, line, zone)
        axes.text(
            days[0], row - 0.2, " " + _short(line.name), fontsize=7, va="center", ha="left",
            bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.3},
        )  # fmt: skip
    _gates(axes, plan, lines, zone)
    safe = plan.date.latest_safe if plan.date is not None else None
    marks: list[tuple[date, str, Any]] = []
    if safe is not None:
        marks.append((safe, "latest safe", "solid"))
    if plan.close_in is not None:
        marks.append((_date(plan.close_in, zone), "close-in", (0, (4, 2))))
    upright(axes, marks, days, top=0.2, days_on=1.0)
    axes.set_xlabel(
        "bar: planned; black on the forecast, grey on past years, white on nothing\n"
        "line: 10 to 90 %   \u25c7 gate opens   \u25bd appointment\n"
        "strip: light may go on, upright lines with protection,\n"
        "slanted no-go, crosses not known",
        fontsize=6.5,
    )
    date_ticks(axes, days)


def _strip(
    axes: Axes, row: int, verdicts: VerdictArray, hour_zero: datetime, zone: ZoneInfo
) -> None:
    """Draw the hours that the forecast tells, spans of one verdict at a time."""
    edges = np.flatnonzero(np.diff(verdicts)) + 1
    for begin, end in zip([0, *edges], [*edges, verdicts.size], strict=True):
        if begin == end:
            continue
        grey, hatch = STRIP[Verdict(int(verdicts[begin]))]
        left = _number(hour_zero + timedelta(hours=int(begin)), zone)
        right = _number(hour_zero + timedelta(hours=int(end)), zone)
        axes.broken_barh(
            [(left, right - left)], (row + 0.28, 0.18), facecolor=grey, hatch=hatch,
            edgecolor="0.4", linewidth=0.0,
        )  # fmt: skip


def _bar(axes: Axes, row: int, line: PlanLine, zone: ZoneInfo) -> None:
    if line.start is None or line.finish is None:
        return
    left, right = _number(line.start, zone), _number(line.finish, zone)
    fill = BAR[line.basis or Basis.ASSUMED_FIT]
    axes.broken_barh(
        [(left, max(right - left, 0.15))], (row, 0.24), facecolor=fill, edgecolor="black",
        linewidth=0.7,
    )  # fmt: skip
    if line.early is not None:
        late = axes.get_xlim()[1] if line.late is None else _number(line.late, zone)
        axes.plot(
            [_number(line.early, zone), late], [row + 0.12] * 2, color="black", linewidth=0.9
        )
    if line.appointment is not None:
        axes.plot(
            _number(line.appointment, zone), row - 0.12, marker="v", markersize=5,
            markerfacecolor="white", markeredgecolor="black",
        )  # fmt: skip


def _gates(axes: Axes, plan: PlanAnswer, lines: Sequence[PlanLine], zone: ZoneInfo) -> None:
    rows = {line.id: row for row, line in enumerate(lines)}
    for gate in plan.gates:
        if gate.opens is not None and gate.task in rows:
            axes.plot(
                _number(gate.opens, zone), rows[gate.task] + 0.12, marker="D", markersize=4.5,
                markerfacecolor="white", markeredgecolor="black",
            )  # fmt: skip


def _days(plan: PlanAnswer, lines: Sequence[PlanLine], zone: ZoneInfo) -> list[float]:
    """Return the days that are drawn: from now past the last finish and the safe date."""
    ends = [_date(line.late or line.finish or plan.at, zone) for line in lines]
    if plan.date is not None and plan.date.latest_safe is not None:
        ends.append(plan.date.latest_safe + timedelta(days=1))
    first = _date(plan.at, zone)
    last = max([first, *ends]) + timedelta(days=2)
    return numbers([first + timedelta(days=n) for n in range((last - first).days + 1)])


def _says(plan: PlanAnswer, zone: ZoneInfo) -> str:
    if plan.close_in is None:
        return f"no plan: {plan.status.replace('_', ' ')}"
    said = f"close-in {_date(plan.close_in, zone):%-d %b}"
    found = plan.date
    if found is not None and found.latest_safe is not None:
        said += f", latest safe {found.latest_safe:%-d %b}"
    return said if found is None or found.chance is None else f"{said}, chance {found.chance:.0%}"


def _short(name: str) -> str:
    name = " ".join("".join(c if c.isprintable() else " " for c in name).split())
    return name if len(name) <= NAME_LETTERS else name[: NAME_LETTERS - 1] + "\u2026"


def _date(moment: datetime, zone: ZoneInfo) -> date:
    return moment.astimezone(zone).date()


def _number(moment: datetime, zone: ZoneInfo) -> float:
    """Return a moment as days of the axis, by the site's clock."""
    local = moment.astimezone(zone)
    return local.toordinal() + (local.hour + local.minute / 60.0) / 24.0
