"""Work that closes the house and can itself run out of fit days: sealing, membranes, windows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from rules.exposure import NEVER
from scheduler.planning.open_house.open_house import Breach
from scheduler.planning.tables.finish import BoolArray, IntArray

PERCENTS: Final = (10, 50, 90)
# Work that can still be begun this near the season's end is not said to run out: past the end
# nobody looked (common practice, no source).
LAST_STRETCH_H: Final = 14 * 24


def work_runs_out(finishes: Mapping[str, IntArray]) -> tuple[Breach, ...]:
    """Return for each closing task after which hour no fit weather is left for it this season.

    Parameters
    ----------
    finishes : mapping
        By task, ``(scenarios, hours)``: the hour at which work begun at an hour is over, by the
        rule book, the labels, the shifts and the weather; ``NEVER`` where it may not begin.

    Returns
    -------
    tuple of Breach
        The house must be closed by the end of the last window; in a scenario without one, never.
    """
    return tuple(_runs_out(task, np.atleast_2d(finish)) for task, finish in finishes.items())


@dataclass(frozen=True, slots=True)
class FitHours:
    """Shift hours of the season in which a closing task can be under way at all."""

    task: str
    needs_h: float
    left_h: tuple[float, float, float]  # in 10, 50 and 90 of 100 scenarios no more than so many


def fit_hours(task: str, *, needs_h: float, fit: BoolArray, shift: BoolArray) -> FitHours:
    """Return the hours left in which closing work can still be done.

    Parameters
    ----------
    task : str
    needs_h : number
        Hours of shift the work takes.
    fit : (scenarios, hours)
        Hours with a verdict of go, or go with protection that is to be had.
    shift : (hours,)
        Hours in which its crew works.
    """
    each = (np.atleast_2d(fit) & shift).sum(axis=-1)
    low, middle, high = (float(x) for x in np.percentile(each, PERCENTS, method="lower"))
    return FitHours(task, needs_h, (low, middle, high))


def _runs_out(task: str, finish: IntArray) -> Breach:
    hours = finish.shape[-1]
    fits = finish < NEVER
    last = hours - 1 - fits[:, ::-1].argmax(axis=-1)
    over = np.take_along_axis(finish, last[:, None], axis=-1)[:, 0].astype(np.int64)
    still = last >= hours - LAST_STRETCH_H
    passed = np.where(fits.any(axis=-1), np.where(still, NEVER, over), 0)
    return Breach(
        limit=f"fit_days_for_{task}",
        allowed="a window is left in which the work can be begun and kept within its limits",
        source="the rows and labels that bind the task",
        passed=passed,
        unknown=np.full(passed.shape, NEVER),
    )
