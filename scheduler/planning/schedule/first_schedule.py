"""The first schedule: the best of many serial passes, improved from both ends.

A pass in the order of a rank is moved to the right as far as its close-in allows and then to the
left again (forward-backward improvement: K. Li and R. Willis, European Journal of Operational
Research 56 (1992) 370-379; V. Valls, F. Ballestin, S. Quintanilla, the same journal 165 (2005)
375-386; both cited from memory). Then the order of the best so far is shaken, with noise from a
fixed seed. The best bounds the solver from above, and where it meets the lower bound it is proven
with no solver at all.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from scheduler.planning.schedule.reach import Net, Windows
from scheduler.planning.schedule.serial import close_in, pass_from_back, serial_pass
from scheduler.planning.tables.finish import NEVER

SEED = 20261125  # of the noise on priorities; fixed, so that the same inputs give the same plan
SPREAD = 0.15  # of the noise, as a share of the time between first and last start
TURNS = 5  # of going from end to end, as long as each gains


def ranks(net: Net, span: Windows) -> list[list[int]]:
    """Return priorities: least last start, least last finish, least slack."""
    ends = [net.finish[task][start] for task, start in enumerate(span.last)]
    slack = [last - first for first, last in zip(span.first, span.last, strict=True)]
    return [span.last, ends, slack]


def from_both_ends(net: Net, starts: Sequence[int]) -> list[int]:
    """Return a schedule that closes in no later, moved to the right and to the left again."""
    best = list(starts)
    for _ in range(TURNS):
        done = close_in(net, best)
        ends = [net.finish[task][start] for task, start in enumerate(best)]
        right = pass_from_back(net, ends, done)
        left = None if right is None else serial_pass(net, right)
        if left is None or close_in(net, left) > done:
            break
        best = left
        if close_in(net, best) == done:
            break
    return best


def best_serial(
    net: Net, span: Windows, *, bound: int, passes: int, begin: Sequence[int] | None = None
) -> list[int] | None:
    """Return the starts of the schedule that closes in first, stopping where one meets the bound.

    Parameters
    ----------
    net : Net
        The problem.
    span : Windows
        Windows without crews.
    bound : int
        Hour before which no plan closes in.
    passes : int
        How many orders are tried after the plain ones.
    begin : sequence of int, optional
        A sound plan's starts: they take the place of the plain orders.

    Returns
    -------
    list of int or None
        Starts by task index, None where no pass placed every task.
    """
    plain = ranks(net, span) if begin is None else []
    rng = np.random.default_rng(SEED)
    best = None if begin is None else list(begin)
    value = NEVER if best is None else close_in(net, best)
    for n in range(len(plain) + passes):
        if value <= bound:
            break
        rank = plain[n] if n < len(plain) else _shaken(rng, span.last if best is None else best)
        starts = serial_pass(net, rank)
        if starts is None:
            continue
        starts = from_both_ends(net, starts)
        if close_in(net, starts) <= value:  # among equals the newest: its order is another
            best, value = starts, close_in(net, starts)
    return best


def _shaken(rng: np.random.Generator, rank: Sequence[float]) -> list[float]:
    """Return a rank with noise on it, now much and now little."""
    plain = np.array(rank, dtype=np.float64)
    spread = SPREAD * max(float(np.ptp(plain)), 1.0)
    shaken: list[float] = (plain + rng.normal(0.0, spread, plain.size) * rng.random()).tolist()
    return shaken
