"""What pictures over dates share: a phone's width, black and white, the same bytes each time."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any, Final, Literal

from rules.errors import BadInput

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


def format_of(name: str) -> Format:
    """Return what kind of picture a file's name asks for.

    Raises
    ------
    BadInput
        If the name ends in neither .png nor .svg.
    """
    if name.endswith(".svg"):
        return "svg"
    if name.endswith(".png"):
        return "png"
    raise BadInput(f"{name}: a picture's name ends in .png or .svg")


def drawn(draw: Callable[[Axes], None], height_in: float, kind: Format) -> bytes:
    """Return the picture that a function draws on a fresh pair of axes."""
    return stacked([(draw, height_in)], kind)


def stacked(panels: Sequence[tuple[Callable[[Axes], None], float]], kind: Format) -> bytes:
    """Return the picture of several panels, one under the other, each with its height."""
    import matplotlib as mpl  # slow to import, so only where a picture is wanted
    from matplotlib.figure import Figure

    out = io.BytesIO()
    heights = [height for _, height in panels]
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(WIDTH_IN, sum(heights)), dpi=DPI, layout="constrained")
        grid = figure.subplots(len(panels), 1, squeeze=False, height_ratios=heights)
        for (draw, _), axes in zip(panels, grid[:, 0], strict=True):
            axes.spines[["top", "right"]].set_visible(False)
            draw(axes)
        meta = {"Date": None} if kind == "svg" else {"Software": None}
        figure.savefig(out, format=kind, metadata=meta)
    return out.getvalue()


def upright(
    axes: Axes,
    marks: Sequence[tuple[date, str, Any]],
    days: Sequence[float],
    *,
    top: float = 0.88,
    days_on: float = 0.0,
) -> None:
    """Draw named days as upright lines; the earlier one's name stands before it if it has room.

    ``days_on`` moves the lines: by 1 they stand at the days' ends.
    """
    ordered = sorted(marks, key=lambda mark: mark[0])
    room = 0.3 * (days[-1] - days[0])
    for place, (day, name, dash) in enumerate(ordered):
        at = float(day.toordinal()) + days_on
        axes.axvline(at, color="black", linewidth=1.1, linestyle=dash, zorder=4)
        before = at - days[0] > room if place < len(ordered) - 1 else days[-1] - at < room
        axes.text(
            at, top - 0.14 * place, f" {name} \n {day:%-d %b} ",
            transform=axes.get_xaxis_transform(), ha="right" if before else "left", va="top",
            fontsize=7.5, fontweight="bold",
            bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.4},
        )  # fmt: skip


def numbers(days: Sequence[date]) -> list[float]:
    """Return days as numbers of an axis."""
    return [float(day.toordinal()) for day in days]


def date_ticks(axes: Axes, days: Sequence[float]) -> None:
    """Put four or five dates under the axis."""
    step = max(1, round((days[-1] - days[0]) / 4))
    ticks = [days[0] + n * step for n in range(6) if days[0] + n * step <= days[-1]]
    axes.set_xlim(days[0], days[-1])
    axes.set_xticks(ticks, [f"{date.fromordinal(int(tick)):%-d %b}" for tick in ticks])
