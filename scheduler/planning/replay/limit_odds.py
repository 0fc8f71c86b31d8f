"""How often a limit "not more than so many hours after" is broken when the plan is replayed.

A replay watches such limits and does not force them: nobody knows beforehand that the weather will
come between. One whose predecessor is done already is forced, since its last hour is known: where
it cannot be kept the task is not begun at all, and that counts as broken.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from scheduler.planning.forecast.scenarios import Scenarios
from scheduler.planning.model.frame import Frame, is_past
from scheduler.planning.model.job import LinkKind, State
from scheduler.planning.replay.replay import Replayed
from scheduler.planning.schedule.network import Problem, Tie
from scheduler.planning.tables.finish import NEVER, BoolArray


@dataclass(frozen=True, slots=True)
class LimitOdds:
    """One limit, and the scenarios that break it."""

    task: str  # which must begin in time
    after: str
    from_start: bool  # the hours count from the start of ``after``, else from its finish
    within_h: float
    broken: float | None  # share of scenarios; None where the past years are too few
    years_broken: int | None  # in so many past years, where they are too few for a share


def limit_odds(
    frame: Frame, problem: Problem, told: Replayed, weather: Scenarios
) -> tuple[LimitOdds, ...]:
    """Return every limit of the open tasks, the one broken most often first.

    Parameters
    ----------
    frame : Frame
        The job and how far it is.
    problem : Problem
        As it was replayed.
    told : Replayed
        Start and finish of every task in every scenario.
    weather : Scenarios
        Those of the replay.
    """
    found = [
        (is_broken(told, tie), tie.after, tie.before, tie.from_start, float(tie.within))
        for tie in problem.ties
        if tie.within is not None
    ]
    found += _of_what_is_done(frame, told)
    found.sort(key=lambda row: (-row[0].mean(), row[1], row[2]))
    return tuple(
        LimitOdds(task, after, from_start, within, *weather.counted(broken))
        for broken, task, after, from_start, within in found
    )


def is_broken(told: Replayed, tie: Tie) -> BoolArray:
    """Return the scenarios that break a tie's limit: (scenarios,).

    Where its predecessor is not reached nothing is broken; where that is and the task is not begun
    within the hours, it is.
    """
    before, after = told.ids.index(tie.before), told.ids.index(tie.after)
    at = (told.start if tie.from_start else told.finish)[:, before]
    within = 0 if tie.within is None else tie.within
    broken: BoolArray = (at < NEVER) & (told.start[:, after] > at + within)
    return broken


def _of_what_is_done(
    frame: Frame, told: Replayed
) -> Iterator[tuple[BoolArray, str, str, bool, float]]:
    for task in frame.open_tasks:
        if frame.standing[task.id].state is not State.TO_DO or task.id not in told.ids:
            continue
        never = told.start[:, told.ids.index(task.id)] >= NEVER
        for link in task.after:
            if link.within_h is not None and is_past(frame, link):
                from_start = link.kind is LinkKind.START_START
                yield never, task.id, link.task, from_start, link.within_h
