"""How long a task must expect to wait for its weather, past the hours a forecast tells.

Inside the forecast a plan uses the hours themselves. Past it no single day is known, so a task
that is ready at an hour is planned to start where the middle scenario lets it: its finish is the
stated quantile over scenarios of the earliest finish, and its start the latest one that reaches
that finish in fair weather. The crew is not held while it waits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from scheduler.planning.schedule.network import Problem, Tie, Work
from scheduler.planning.tables.finish import NEVER, IntArray, earliest


def weather_wait(finish: IntArray, fair: IntArray, *, share: float, horizon: int) -> IntArray:
    """Return the first start to plan on, by the hour at which a task is ready.

    Parameters
    ----------
    finish : (scenarios, hours)
        Finish of each start in each scenario, NEVER where it may not start.
    fair : (hours,)
        Finish of each start were every hour's weather fit.
    share
        Share of scenarios that must have finished; 0.5 plans on the middle one.
    horizon
        Hours told by the forecast: no wait is added to starts before it.

    Returns
    -------
    (hours + 1,)
        Start hour, rising with the ready hour; NEVER where too few scenarios finish.
    """
    hours = fair.size
    rank = max(int(np.ceil(share * finish.shape[0] - 1e-9)) - 1, 0)
    done = np.partition(earliest(finish), rank, axis=0)[rank]
    starts = np.flatnonzero(fair < NEVER)
    wait = np.full(hours + 1, NEVER, dtype=np.int32)
    if starts.size:
        # latest fair start whose finish is not after the expected one
        last = np.searchsorted(fair[starts], done, side="right") - 1
        reached = (done < NEVER) & (last >= 0)
        wait[:hours] = np.where(reached, starts[np.maximum(last, 0)], NEVER)
    own = np.arange(hours + 1, dtype=np.int32)
    wait = np.where(own < horizon, own, np.maximum(wait, own))
    return earliest(wait.astype(np.int32))


def with_waits(problem: Problem, waits: Mapping[str, IntArray]) -> Problem:
    """Return the problem in which being ready means that the weather may be had, too."""
    return replace(
        problem,
        tasks=tuple(_work(work, waits) for work in problem.tasks),
        ties=tuple(_tie(tie, waits) for tie in problem.ties),
    )


def _work(work: Work, waits: Mapping[str, IntArray]) -> Work:
    wait = waits.get(work.id)
    if wait is None:
        return work
    first = int(wait[min(max(work.not_before, 0), wait.size - 1)])
    return replace(work, not_before=max(work.not_before, first))


def _tie(tie: Tie, waits: Mapping[str, IntArray]) -> Tie:
    wait = waits.get(tie.after)
    if wait is None:
        return tie
    inside = np.minimum(tie.ready, wait.size - 1)
    ready = np.where(tie.ready < wait.size, wait[inside], NEVER)
    return replace(tie, ready=np.maximum(ready, tie.ready).astype(np.int32))
