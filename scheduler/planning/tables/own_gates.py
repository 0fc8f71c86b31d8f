"""Strength gates by scenario, for a replay: when each opens in that scenario's own weather.

The full path follows only the first scenarios (``gates.MEMBERS``), and the bound that covers all
of them is late by days under blankets. So a scenario that is followed has its own hour; another
has that of the followed one whose place it holds, slowest last, by the hour at which its own trace
of the same work, without the cement's heat, would be there (quantile mapping, as climate models
are corrected: the ranking is its own, the hours are the full path's). Places are rounded to the
slower side, and the share of scenarios in which a gate is open by an hour stays that of the full
path.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.tables.finish import IntArray


@dataclass(frozen=True, slots=True)
class OwnGates:
    """What strength leaves a replay, by scenario; a single row stands for all."""

    ready: Mapping[LinkKey, IntArray] = field(default_factory=dict)  # (scenarios, hours + 1)
    opens: Mapping[str, IntArray] = field(default_factory=dict)  # by task: (scenarios,)

    @property
    def scenarios(self) -> int:
        """Return how many scenarios they tell apart; each gate tells one or all of them."""
        return max((len(one) for one in (*self.ready.values(), *self.opens.values())), default=1)

    def first(self, count: int) -> OwnGates:
        """Return the first so many scenarios."""
        return OwnGates(
            {key: table[:count] for key, table in self.ready.items()},
            {task: hours[:count] for task, hours in self.opens.items()},
        )


def in_each(
    bound: IntArray, *, followed: IntArray, slowness: IntArray, finishes: NDArray[np.intp]
) -> IntArray:
    """Return an hour for every finish in every scenario from those that are followed.

    Parameters
    ----------
    bound : (scenarios, hours + 1)
        The hour by the bound, which stands where no finish is followed.
    followed : (members, n)
        The hour by the full path, of the first scenarios at the followed finishes.
    slowness : (scenarios, n)
        What each scenario's own weather does to such work: later is slower.
    finishes : (n,)
        The followed finishes.

    Returns
    -------
    (scenarios, hours + 1)
    """
    found, members = bound.copy(), followed.shape[0]
    found[:members, finishes] = followed
    others = bound.shape[0] - members
    if others:
        place = slowness[members:].argsort(axis=0, kind="stable").argsort(axis=0, kind="stable")
        stands_for = -(-(place + 1) * members // others) - 1
        hours = np.take_along_axis(np.sort(followed, axis=0), stands_for, axis=0)
        found[members:, finishes] = hours
    return found


LinkKey = tuple[str, str]  # the task, the predecessor it waits for
