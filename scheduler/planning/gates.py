"""Strength gates as ready tables: the first hour a successor may begin, for every finish hour.

A gate opens at the later of the computed strength and the waiting time of the book or of the
engineer. Tables follow ``scheduler/planning/tables.py``: whole hours from hour zero, ``NEVER``
where the trace does not show the gate opening, finishes 0 to ``hours`` on the last axis.
"""

from __future__ import annotations

import numpy as np

from rules.errors import OutOfRange
from rules.strength import SLOW, StrengthModel, hours_to_share
from rules.verdict import FloatArray
from scheduler.planning.tables import NEVER, IntArray, earliest, whole_hours


def ready_table(
    *, temperature_c: FloatArray, share: float, wait_h: float, model: StrengthModel = SLOW
) -> IntArray:
    """Return the first hour at which the share is there and the wait is over.

    Parameters
    ----------
    temperature_c : (..., hours)
        Temperature of the element in each hour; the air's is the first guess. [°C]
    share
        Share of the specified 28-day strength, 0 to 1.
    wait_h
        Least waiting time from the finish, by the book or the engineer. [h]
    model
        How the mix gains strength.

    Returns
    -------
    (..., hours + 1)
        Ready hour, rising with the finish; ``NEVER`` where the trace ends before. Work finished
        before a gap is taken as no stronger than work finished after it: strength only grows,
        and frozen work is not delayed but removed elsewhere.

    Raises
    ------
    OutOfRange
        If the share leaves 0 to 1 or the wait is negative.
    """
    if wait_h < 0.0:
        raise OutOfRange(f"waiting time is {wait_h} h; want 0 or more")
    hours = temperature_c.shape[-1]
    strong = hours_to_share(temperature_c=temperature_c, share=share, model=model)
    waited = np.arange(hours + 1, dtype=np.int32) + np.int32(whole_hours(wait_h))
    return earliest(np.where(strong > hours, np.int32(NEVER), np.maximum(strong, waited)))


def at_confidence(table: IntArray, confidence: float) -> IntArray:
    """Return the hour by which at least that share of the scenarios is ready.

    Parameters
    ----------
    table : (scenarios, ...)
        Hours, ``NEVER`` where a scenario is never ready.
    confidence
        Share of scenarios that must be ready, above 0 up to 1.

    Returns
    -------
    (...)
        The upper order statistic: an hour of the table, never one between two.

    Raises
    ------
    OutOfRange
        If the confidence leaves 0 to 1, or there are no scenarios.
    """
    scenarios = table.shape[0]
    if not 0.0 < confidence <= 1.0 or scenarios == 0:
        raise OutOfRange(
            f"confidence {confidence} over {scenarios} scenarios; want 0 to 1, and any"
        )
    rank = int(np.ceil(confidence * scenarios - 1e-9)) - 1
    hour: IntArray = np.partition(table, rank, axis=0)[rank]
    return hour
