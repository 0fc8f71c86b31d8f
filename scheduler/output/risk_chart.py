"""Two pictures of the open house: risk against the date, and how cold it gets inside by day.

Both are meant for a phone held upright and for a black-and-white print: lines differ by dash and
weight, areas by grey and hatch, and nothing is said by colour alone.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any, Final, Literal

from rules.units import convert
from scheduler.output.words import words
from scheduler.planning.closein_date import CloseInAnswer, Ends
from scheduler.planning.exposure_days import ExposureDays
from scheduler.planning.job import Job

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH_IN, DPI = 3.9, 200  # 780 dots across: sharp on a phone of 390 points
STYLE: Final[dict[Any, Any]] = {
    "font.size": 8,
    "axes.titlesize": 8.5,
    "axes.labelsize": 7.5,
    "axes.linewidth": 0.6,
    "xtick.labelsize": 7.5,
    "ytick.labelsize": 7.5,
    "hatch.linewidth": 0.4,
    "svg.hashsalt": "closein",  # the same picture gives the same bytes
}
Format = Literal["png", "svg"]


def risk_chart(
    found: CloseInAnswer, job: Job, *, forecast_until: date | None = None, kind: Format = "png"
) -> bytes:
    """Draw the share of scenarios with a limit passed by each day, the plan and the safe date.

    Parameters
    ----------
    found : CloseInAnswer
    job : Job
        Gives the title.
    forecast_until : date, optional
        Last day that rests on the forecast alone; the rest is shown as past years.
    kind : "png" or "svg"
    """
    return _drawn(lambda axes: _draw_risk(axes, found, job, forecast_until), 3.5, kind)


def _draw_risk(axes: Axes, found: CloseInAnswer, job: Job, forecast_until: date | None) -> None:
    days, risk = _numbers(found.days), found.risk * 100.0
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
    _upright(axes, [(day, name, dash) for day, name, dash in marks if day is not None], days)
    axes.set_ylim(0, 100)
    axes.set_ylabel("a limit is passed by then, %")
    axes.set_xlabel("dashed: one more year counted as passed; it sets the date")
    axes.set_title(f"{job.name}\nLeft open: {_says(found)}", loc="left")
    _dates(axes, days)


def exposure_chart(seen: ExposureDays, job: Job, *, kind: Format = "png") -> bytes:
    """Draw the daily lows outside and inside with their spread, and the limit."""
    return _drawn(lambda axes: _draw_lows(axes, seen, job), 3.1, kind)


def _draw_lows(axes: Axes, seen: ExposureDays, job: Job) -> None:
    days = _numbers(seen.days)
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
    _dates(axes, days)


def _drawn(draw: Callable[[Axes], None], height_in: float, kind: Format) -> bytes:
    """Return the picture that a function draws on a fresh pair of axes."""
    import matplotlib as mpl  # slow to import, so only where a picture is wanted
    from matplotlib.figure import Figure

    out = io.BytesIO()
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(WIDTH_IN, height_in), dpi=DPI, layout="constrained")
        axes = figure.add_subplot()
        axes.spines[["top", "right"]].set_visible(False)
        draw(axes)
        meta = {"Date": None} if kind == "svg" else {"Software": None}
        figure.savefig(out, format=kind, metadata=meta)
    return out.getvalue()


def _split(axes: Axes, days: Sequence[float], until: float) -> None:
    """Mark where the forecast ends and past years begin."""
    if not days[0] <= until < days[-1]:
        return
    over = axes.get_xaxis_transform()
    axes.axvspan(days[0], until, ymin=0.985, ymax=1.0, color="black")
    axes.text(days[0], 0.975, " forecast", transform=over, va="top", fontsize=7)
    least = days[0] + 0.16 * (days[-1] - days[0])  # clear of the word before
    axes.text(max(until + 1, least), 0.975, "past years", transform=over, va="top", fontsize=7)


def _upright(axes: Axes, marks: Sequence[tuple[date, str, Any]], days: Sequence[float]) -> None:
    """Draw named days as upright lines; the earlier one's name stands before it if it has room."""
    ordered = sorted(marks, key=lambda mark: mark[0])
    room = 0.3 * (days[-1] - days[0])
    for place, (day, name, dash) in enumerate(ordered):
        at = float(day.toordinal())
        axes.axvline(at, color="black", linewidth=1.1, linestyle=dash)
        before = at - days[0] > room if place < len(ordered) - 1 else days[-1] - at < room
        axes.text(
            at, 0.88 - 0.14 * place, f" {name} \n {day:%-d %b} ",
            transform=axes.get_xaxis_transform(), ha="right" if before else "left", va="top",
            fontsize=7.5, fontweight="bold",
        )  # fmt: skip


def _numbers(days: Sequence[date]) -> list[float]:
    return [float(day.toordinal()) for day in days]


def _dates(axes: Axes, days: Sequence[float]) -> None:
    """Put four or five dates under the axis."""
    step = max(1, round((days[-1] - days[0]) / 4))
    ticks = [days[0] + n * step for n in range(6) if days[0] + n * step <= days[-1]]
    axes.set_xlim(days[0], days[-1])
    axes.set_xticks(ticks, [f"{date.fromordinal(int(tick)):%-d %b}" for tick in ticks])


def _says(found: CloseInAnswer) -> str:
    if found.latest_safe is not None:
        chance = "" if found.chance is None else f", chance {found.chance:.0%}"
        margin = "" if found.margin_days is None else f", margin {found.margin_days} d"
        return f"{words(found.binding)} decides{margin}{chance}"
    if found.overall.ends is Ends.SEASON_END:
        return "no limit passed before the season's end"
    return "latest safe date not known"
