"""Two pictures of the open house: risk against the date, and how cold it gets inside by day.

Both are meant for a phone held upright and for a black-and-white print: lines differ by dash and
weight, areas by grey and hatch, and nothing is said by colour alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from rules.shown import SHOWN, SIGN
from rules.units import convert
from scheduler.output.date_chart import Format, date_ticks, drawn, numbers, stacked, upright
from scheduler.output.words import words
from scheduler.planning.model.job import Job
from scheduler.planning.open_house.closein_date import CloseInAnswer, Ends
from scheduler.planning.open_house.exposure_days import DayCourse, ExposureDays

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def risk_chart(
    found: CloseInAnswer,
    job: Job,
    *,
    forecast_until: date | None = None,
    odds: tuple[date | None, date | None] = (None, None),
    kind: Format = "png",
) -> bytes:
    """Draw the share of scenarios with a limit passed by each day, the plan and the safe date.

    Parameters
    ----------
    found : CloseInAnswer
    job : Job
        Gives the title.
    forecast_until : date, optional
        Last day that rests on the forecast alone; the rest is shown as past years.
    odds : (date, date), optional
        Days by which the plan has closed in in 50 and in 90 of 100 scenarios.
    kind : "png" or "svg"
    """
    return drawn(lambda axes: _draw_risk(axes, found, job, forecast_until, odds), 3.5, kind)


def _draw_risk(
    axes: Axes,
    found: CloseInAnswer,
    job: Job,
    forecast_until: date | None,
    odds: tuple[date | None, date | None],
) -> None:
    days, risk = numbers(found.days), found.risk * 100.0
    axes.step(days, risk, where="post", color="black", linewidth=1.6)
    axes.fill_between(days, risk, step="post", facecolor="0.88", hatch="////", edgecolor="0.7")
    axes.step(
        days, found.planned_on * 100.0, where="post", color="black", linewidth=0.8,
        linestyle=(0, (3, 1.5)),
    )  # fmt: skip
    allowed = (1.0 - found.confidence) * 100.0
    axes.axhline(allowed, color="black", linewidth=0.8, linestyle=(0, (1, 1.5)))
    axes.text(
        days[-1], allowed + 1.5, f"{allowed:.0f} % allowed", ha="right", va="bottom", fontsize=7
    )
    if forecast_until is not None:
        _split(axes, days, forecast_until.toordinal())
    marks = [(found.planned, "planned", (0, (4, 2))), (found.latest_safe, "latest safe", "solid")]
    upright(axes, [(day, name, dash) for day, name, dash in marks if day is not None], days)
    _odds(axes, days, odds)
    axes.set_ylim(0, 100)
    axes.set_ylabel("a limit is passed by then, %")
    axes.set_xlabel("dashed: one more year counted as passed; it sets the date")
    axes.set_title(f"{job.name}\nLeft open: {_says(found)}", loc="left")
    date_ticks(axes, days)


def _odds(axes: Axes, days: list[float], odds: tuple[date | None, date | None]) -> None:
    """Draw a bar from the plan's middle close-in to its late one, or to the edge."""
    middle, late = odds
    if middle is None:
        return
    begin = float(middle.toordinal())
    end = days[-1] if late is None else float(late.toordinal())
    axes.plot([begin, end], [56.0, 56.0], color="black", linewidth=4.0, solid_capstyle="butt")
    axes.text(
        begin, 53.5, " closed in, 50 to 90 %", ha="left", va="top", fontsize=7,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.2},
    )  # fmt: skip


def exposure_chart(seen: ExposureDays, job: Job, *, kind: Format = "png") -> bytes:
    """Draw the daily lows outside and inside with their spread, and the limit.

    A panel under it for each other limit of the job: frost in the ground, water inside, gusts.
    """
    panels = [(partial(_draw_lows, seen=seen, job=job), 3.1)]
    panels += [(partial(_draw_course, course=one, seen=seen, job=job), 1.7) for one in seen.others]
    return stacked(panels, kind)


def _draw_course(axes: Axes, course: DayCourse, seen: ExposureDays, job: Job) -> None:
    days = numbers(seen.days)
    unit = SHOWN[job.units].get(course.unit, course.unit)
    unit = "in" if unit == "ft" else unit  # frost and rain are told in inches
    marks = [convert(row, course.unit, unit) for row in course.high]
    at = float(convert(course.at, course.unit, unit))
    axes.fill_between(
        days, marks[0], marks[2], facecolor="0.9", edgecolor="0.75", hatch="....", linewidth=0.3
    )
    axes.plot(days, marks[1], color="black", linewidth=1.4)
    axes.axhline(at, color="black", linewidth=0.9, linestyle=(0, (4, 2)))
    axes.text(days[-1], at, f"limit {at:.3g}", ha="right", va="bottom", fontsize=7)
    unknown = np.flatnonzero(np.isnan(marks[1]))
    if unknown.size:
        at_day = days[int(unknown[0])]
        axes.text(at_day, at / 2.0, "  not known from here on", va="center", fontsize=7)
    axes.set_ylim(bottom=min(0.0, float(np.nanmin([at, *marks[0]]))))
    axes.set_title(f"{words(course.limit)}, {SIGN.get(unit, unit)}".rstrip(", "), loc="left")
    date_ticks(axes, days)


def _draw_lows(axes: Axes, seen: ExposureDays, job: Job) -> None:
    days = numbers(seen.days)
    unit = "degF" if job.units == "us" else "degC"
    outside, inside = (
        convert(lows, "degC", unit) for lows in (seen.outdoor_low_c, seen.indoor_low_c)
    )
    limit = convert(seen.limit_c, "degC", unit)
    axes.fill_between(
        days, outside[0], outside[2], facecolor="0.92", edgecolor="0.75", hatch="....",
        linewidth=0.3, label="outside, 10 to 90 %",
    )  # fmt: skip
    axes.plot(days, outside[1], color="0.45", linewidth=0.9, label="outside, middle")
    axes.plot(
        days, inside[0], color="black", linewidth=1.0, linestyle=(0, (2, 1.2)),
        label="inside, coldest 10 %",
    )  # fmt: skip
    axes.plot(days, inside[1], color="black", linewidth=1.8, label="inside, middle")
    axes.axhline(limit, color="black", linewidth=0.7)
    sign = "°F" if unit == "degF" else "°C"
    axes.text(days[-1], limit, f"{limit:.0f} {sign}", ha="right", va="bottom", fontsize=7)
    _split(axes, days, seen.forecast_until.toordinal())
    axes.set_ylabel(f"low of the day, {sign}")
    axes.set_title(f"{job.name}\nLows of the day while the house stays open", loc="left")
    axes.legend(
        loc="upper center", bbox_to_anchor=(0.5, -0.13), ncols=2, frameon=False, fontsize=7
    )
    date_ticks(axes, days)


def _split(axes: Axes, days: Sequence[float], until: float) -> None:
    """Mark where the forecast ends and past years begin."""
    if not days[0] <= until < days[-1]:
        return
    over = axes.get_xaxis_transform()
    axes.axvspan(days[0], until, ymin=0.985, ymax=1.0, color="black")
    axes.text(days[0], 0.975, " forecast", transform=over, va="top", fontsize=7)
    least = days[0] + 0.16 * (days[-1] - days[0])  # clear of the word before
    axes.text(max(until + 1, least), 0.975, "past years", transform=over, va="top", fontsize=7)


def _says(found: CloseInAnswer) -> str:
    if found.latest_safe is not None:
        chance = "" if found.chance is None else f", chance {found.chance:.0%}"
        margin = "" if found.margin_days is None else f", margin {found.margin_days} d"
        return f"{words(found.binding)} decides{margin}{chance}"
    if found.overall.ends is Ends.SEASON_END:
        return "no limit passed before the season's end"
    return "latest safe date not known"
