"""Why there is no plan: the smallest set of requirements found that cannot be met together.

Requirements are let go one after the other; what can be let go without a plan coming of it is no
part of the reason. What is left is minimal: without any one of them a plan exists (deletion
filter, J. Chinneck and E. Dravnieks, ORSA Journal on Computing 3, 1991). A smaller set may exist
elsewhere; that nothing in this one can be spared is what is promised.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from scheduler.planning.schedule.network import Plan, Problem, Status, Tie, Work
from scheduler.planning.schedule.solve import Limits, solve
from scheduler.planning.tables.finish import ready_after

QUICK: Final = Limits(close_in=2.0, later_aims=0.0, passes=20)  # one question: is there any plan


@dataclass(frozen=True, slots=True)
class Requirement:
    """One thing that binds the plan, and the problem without it."""

    kind: str  # appointment, slots, not_before, weather, wait, in_time, crew
    task: str  # what it binds; the crew's id for a crew
    other: str  # the task that it waits for, "" where none
    without: Callable[[Problem], Problem]


@dataclass(frozen=True, slots=True)
class Collision:
    """One member of the set, and what comes of letting it go alone."""

    kind: str
    task: str
    other: str
    close_in: int  # hour of close-in without it; NEVER where others collide still


@dataclass(frozen=True, slots=True)
class Collisions:
    """The requirements that collide; empty where the work alone does not fit into the season."""

    found: tuple[Collision, ...]
    season_too_short: bool  # no plan even with every requirement let go
    known: bool  # False: the limit ended a question, so a member may be one too many


def collisions(problem: Problem, *, limits: Limits = QUICK) -> Collisions:
    """Return why a problem has no plan.

    Parameters
    ----------
    problem : Problem
        One that has none.
    limits : Limits
        Of each question.

    Returns
    -------
    Collisions
        In the order of the problem's tasks.
    """
    every = list(requirements(problem))
    if _plan(_without(problem, every), limits).status is Status.INFEASIBLE:
        return Collisions((), season_too_short=True, known=True)
    let_go: list[Requirement] = []
    known = True
    for one in every:
        plan = _plan(_without(problem, [*let_go, one]), limits)
        known &= plan.status is not Status.NOT_FOUND
        if plan.status is Status.INFEASIBLE:
            let_go.append(one)
    kept = [one for one in every if one not in let_go]
    return Collisions(
        tuple(
            Collision(one.kind, one.task, one.other, _plan(one.without(problem), limits).close_in)
            for one in kept
        ),
        season_too_short=False,
        known=known,
    )


def requirements(problem: Problem) -> Iterator[Requirement]:
    """Yield everything of a problem that may be let go, the hardest to move last."""
    for work in problem.tasks:
        if work.fair is not None and not np.array_equal(work.fair, work.finish):
            yield _of_work("weather", work.id, _in_fair_weather)
    for tie in problem.ties:
        if tie.within is not None:
            yield Requirement("in_time", tie.after, tie.before, _of_tie(tie, within=None))
    for work in problem.tasks:
        if work.starts:
            yield _of_work("slots", work.id, lambda w: replace(w, starts=()))
        if work.booking is not None:
            yield _of_work("appointment", work.id, lambda w: replace(w, booking=None))
    yield from (Requirement("crew", crew, "", _more_of(crew)) for crew in problem.crews)
    yield from _waits(problem)


def _waits(problem: Problem) -> Iterator[Requirement]:
    """Yield what only time gives: drying, strength, deliveries."""
    at_once = ready_after(problem.hours, 0)
    for tie in problem.ties:
        if not np.array_equal(tie.ready, at_once):
            yield Requirement("wait", tie.after, tie.before, _of_tie(tie, ready=at_once))
    for work in problem.tasks:
        if work.not_before > 0:
            yield _of_work("not_before", work.id, lambda w: replace(w, not_before=0))


def _in_fair_weather(work: Work) -> Work:
    return work if work.fair is None else replace(work, finish=work.fair)


def _of_work(kind: str, name: str, change: Callable[[Work], Work]) -> Requirement:
    def without(problem: Problem) -> Problem:
        tasks = tuple(change(work) if work.id == name else work for work in problem.tasks)
        return replace(problem, tasks=tasks)

    return Requirement(kind, name, "", without)


def _of_tie(tie: Tie, **change: object) -> Callable[[Problem], Problem]:
    def without(problem: Problem) -> Problem:
        ends = (tie.before, tie.after, tie.from_start)
        ties = tuple(
            replace(one, **change)  # type: ignore[arg-type]
            if (one.before, one.after, one.from_start) == ends
            else one
            for one in problem.ties
        )
        return replace(problem, ties=ties)

    return without


def _more_of(crew: str) -> Callable[[Problem], Problem]:
    def without(problem: Problem) -> Problem:
        enough = sum(work.crews.get(crew, 0) for work in problem.tasks)
        return replace(problem, crews={**problem.crews, crew: max(enough, 1)})

    return without


def _without(problem: Problem, let_go: Sequence[Requirement]) -> Problem:
    for one in let_go:
        problem = one.without(problem)
    return problem


def _plan(problem: Problem, limits: Limits) -> Plan:
    return solve(problem, limits=limits)
