"""The comparison of protections as a picture: temperature by depth, coldest place, strength.

The drawing library is imported only when a chart is asked for. Nothing needs colour to be told
apart: every line has its own dash.
"""

from __future__ import annotations

import io
from datetime import UTC, datetime, timedelta
from pathlib import PurePath
from typing import TYPE_CHECKING, Final

import numpy as np

from rules.errors import BadInput
from rules.freeze import Fate
from rules.gates import freeze_rule, gates
from rules.units import convert
from rules.verdict import FloatArray
from scheduler.output.words import clock, local, words
from scheduler.planning.strength.cure_answer import CureAnswer, CureOption

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FORMATS: Final = ("png", "svg")
LINES: Final = {  # name: (colour, dash)
    "bare": ("#444444", (0, (1, 1.2))),
    "membrane": ("#b8860b", (0, (4, 1.5))),
    "blanket": ("#1f6fb4", (0, (7, 1.5, 1.5, 1.5))),
    "enclosure": ("#c23b22", "solid"),
}
FATE_WORDS: Final = {
    Fate.SURVIVES: "",
    Fate.NOT_KNOWN: " (not known)",
    Fate.FREEZES: " (freezes)",
}
PAPER: Final = {"facecolor": "white", "alpha": 0.8, "pad": 0.8, "lw": 0}  # behind a word
DRAWN_H: Final = 24 * 10  # what lies later is in the table


def cure_chart(
    answer: CureAnswer, *, time_zone: str, units: str, shown: str = "", suffix: str = "png"
) -> bytes:
    """Return the chart as PNG or SVG.

    Parameters
    ----------
    answer : CureAnswer
        The comparison.
    time_zone
        IANA name; the axis is on the site's clock.
    units
        us or si.
    shown
        Protection whose temperature by depth is drawn; where empty the least one at hand that
        keeps the work from freezing, else the warmest at hand.
    suffix
        png or svg.

    Raises
    ------
    BadInput
        If the format is neither.
    """
    kind = suffix.lower().lstrip(".")
    if kind not in FORMATS:
        raise BadInput(f"a chart of kind {suffix!r} cannot be drawn; want {' or '.join(FORMATS)}")
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context({"font.size": 9, "svg.hashsalt": "closein", "svg.fonttype": "none"}):
        figure = Figure(figsize=(8.6, 10.2), layout="constrained")
        depth, coldest, strength = figure.subplots(3, 1, sharex=True)
        option = _chosen(answer, shown)
        _depths(depth, option, time_zone, units)
        _coldest(coldest, answer, time_zone, units)
        _strength(strength, answer, time_zone)
        _title(figure, answer, time_zone, units)
        return _bytes(figure, kind)


def chart_suffix(file: str) -> str:
    """Return the kind of chart that a file name asks for."""
    return PurePath(file).suffix.lstrip(".") or "png"


def _chosen(answer: CureAnswer, shown: str) -> CureOption:
    named = {option.name: option for option in answer.options}
    if shown in named:
        return named[shown]
    at_hand = [option for option in answer.options if option.available]
    alive = [option for option in at_hand if option.fate is Fate.SURVIVES and option.measure]
    return alive[0] if alive else (at_hand or list(answer.options))[-1]


def _times(option: CureOption, time_zone: str) -> FloatArray:
    """Return the drawn hours on the site's clock, as days since 1970."""
    count = min(option.trace.share.size, DRAWN_H + 1)
    return np.array(
        [_day(option.trace.start + timedelta(hours=h), time_zone) for h in range(count)]
    )


def _day(moment: datetime, time_zone: str) -> float:
    wall = local(moment, time_zone).replace(tzinfo=UTC)
    return wall.timestamp() / 86400.0


def _shown(celsius: FloatArray, units: str, count: int) -> FloatArray:
    values = celsius[:count]
    return convert(values, "degC", "degF") if units == "us" else values


def _depths(axes: Axes, option: CureOption, time_zone: str, units: str) -> None:
    """Draw the first face, the middle and the edge of one protection against the air."""
    times, trace = _times(option, time_zone), option.trace
    count, middle = len(times), trace.nodes_c.shape[0] // 2
    inches = trace.depth_m[middle] / 0.0254
    deep = f"{inches:.1f} in" if units == "us" else f"{trace.depth_m[middle] * 1000:.0f} mm"
    for values, label, colour, dash in (
        (trace.air_c, "air", "#6a6a6a", (0, (1, 1))),
        (trace.nodes_c[middle], f"{deep} deep", "#7a1f5c", "solid"),
        (trace.nodes_c[0], "face", "#1f6fb4", (0, (5, 1.5))),
        (trace.edge_c, "coldest corner or top", "#1b7f5c", (0, (7, 1.5, 1.5, 1.5))),
    ):
        drawn = _shown(values, units, count)
        axes.plot(times, drawn, color=colour, linestyle=dash, label=label, linewidth=1.4)
    _freezing(axes, units)
    if option.cover_until is not None:
        _mark(axes, option.cover_until, time_zone, "cover off", high_up=False)
    axes.set_title(f"Temperature by depth, {_named(option)}", loc="left")
    _degrees(axes, units)


def _coldest(axes: Axes, answer: CureAnswer, time_zone: str, units: str) -> None:
    for option in answer.options:
        times = _times(option, time_zone)
        colour, dash = LINES[option.name]
        values = _shown(option.trace.edge_c, units, len(times))
        axes.plot(times, values, color=colour, linestyle=dash, label=_named(option), linewidth=1.4)
    _freezing(axes, units)
    axes.set_title("Coldest corner or top under each protection", loc="left")
    _degrees(axes, units)


def _strength(axes: Axes, answer: CureAnswer, time_zone: str) -> None:
    for option in answer.options:
        times = _times(option, time_zone)
        colour, dash = LINES[option.name]
        trace, count = option.trace, len(times)
        label = _named(option)
        count = min(count, _frozen_step(option))
        times, heavy = times[:count], 100.0 * trace.share[:count]
        if option.frozen_at is not None:
            axes.plot(times[-1:], heavy[-1:], marker="x", color=colour, markersize=7)
        axes.plot(times, heavy, color=colour, linestyle=dash, linewidth=1.6, label=label)
        fast = 100.0 * trace.share_fast[:count]
        axes.plot(times, fast, color=colour, linestyle=dash, linewidth=0.6, alpha=0.6)
    for name, share in _levels(answer).items():
        axes.axhline(100.0 * share, color="#888888", linewidth=0.7)
        _label(axes, name, 100.0 * share, bottom=True)
    for slot in answer.booked:
        _mark(axes, slot.start, time_zone, f"{words(slot.who)} booked")
    axes.set_title(
        "Strength: heavy lines are planned on, thin ones optimistic; × freezes", loc="left"
    )
    axes.set_ylabel("% of specified strength")
    axes.set_ylim(0.0, 100.0)
    axes.legend(loc="upper left", frameon=False, ncols=2)
    axes.grid(color="#dddddd", linewidth=0.5)


def _frozen_step(option: CureOption) -> int:
    """Return how many hours are drawn: strength after a freeze is not to be counted on."""
    if option.frozen_at is None:
        return DRAWN_H + 1
    return int((option.frozen_at - option.trace.start) / timedelta(hours=1)) + 1


def _levels(answer: CureAnswer) -> dict[str, float]:
    """Return the shares that gates ask for, each once, with what it opens."""
    named: dict[float, list[str]] = {}
    resists = freeze_rule().one_freeze_mpa / answer.specified_mpa
    named.setdefault(round(min(resists, 1.0), 2), []).append("resists one freeze")
    for purpose, share in answer.shares.items():
        title = gates()[purpose].title if purpose in gates() else words(purpose)
        named.setdefault(round(share, 2), []).append(title)
    return {"; ".join(texts): share for share, texts in named.items() if share > 0.0}


def _freezing(axes: Axes, units: str) -> None:
    level = float(_shown(np.array([freeze_rule().freezing_point_c]), units, 1)[0])
    axes.axhline(level, color="#222222", linewidth=0.8)
    _label(axes, "fresh work freezes", level, bottom=False)


def _label(axes: Axes, text: str, level: float, *, bottom: bool) -> None:
    axes.annotate(
        text, (0.995, level), xycoords=("axes fraction", "data"), fontsize=7, ha="right",
        va="bottom" if bottom else "top", color="#222222", xytext=(0, 1.5 if bottom else -1.5),
        textcoords="offset points", bbox=PAPER,
    )  # fmt: skip


def _mark(
    axes: Axes, moment: datetime, time_zone: str, text: str, *, high_up: bool = True
) -> None:
    at = _day(moment, time_zone)
    low, high = axes.get_xlim()
    if not low <= at <= high:
        return
    axes.axvline(at, color="#222222", linewidth=0.8, linestyle=(0, (2, 2)))
    axes.annotate(
        text, (at, 0.97 if high_up else 0.03), xycoords=("data", "axes fraction"), fontsize=7,
        rotation=90, ha="right", va="top" if high_up else "bottom", bbox=PAPER,
    )  # fmt: skip


def _degrees(axes: Axes, units: str) -> None:
    axes.set_ylabel("°F" if units == "us" else "°C")
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.25 * (high - low))  # room for the names
    axes.legend(loc="upper right", frameon=False, ncols=2)
    axes.grid(color="#dddddd", linewidth=0.5)


def _title(figure: Figure, answer: CureAnswer, time_zone: str, units: str) -> None:
    from matplotlib.dates import ConciseDateFormatter, DayLocator

    days = DayLocator()  # type: ignore[no-untyped-call]
    figure.axes[-1].xaxis.set_major_locator(days)
    figure.axes[-1].xaxis.set_major_formatter(
        ConciseDateFormatter(days)  # type: ignore[no-untyped-call]
    )
    placed = float(_shown(np.array([answer.placed_c]), units, 1)[0])
    sign = "°F" if units == "us" else "°C"
    figure.suptitle(
        f"{answer.task}: {answer.section}, placed {placed:.0f} {sign}, "
        f"finished {clock(answer.finish, time_zone)}\n"
        "computed, not measured; local codes, the engineer of record and licensed trades decide",
        fontsize=10,
        x=0.01,
        ha="left",
    )


def _named(option: CureOption) -> str:
    name = words(option.measure) if option.measure else "bare"
    return f"{name}{FATE_WORDS[option.fate]}"


def _bytes(figure: Figure, kind: str) -> bytes:
    out = io.BytesIO()
    metadata = {"Date": None} if kind == "svg" else {"Software": None}
    figure.savefig(out, format=kind, dpi=130, metadata=metadata)
    return out.getvalue()
