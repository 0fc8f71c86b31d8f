"""The plan, aim by aim: close in early, move few appointments, call few people, cost little.

Each aim is solved with those before it held; never one weighted sum. First comes the best of many
serial schedules; where it meets the bound that chains of tasks or hours of crews set, it is
proven with no solver. Else the constraint model goes on from it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from scheduler.planning.schedule.aims import AIMS, Values, least_values, values_of
from scheduler.planning.schedule.constraint_model import Effort, Model, Starts
from scheduler.planning.schedule.crew_bound import crew_bound
from scheduler.planning.schedule.first_schedule import best_serial
from scheduler.planning.schedule.network import Plan, Problem, Status
from scheduler.planning.schedule.plans import plan_of, without_plan
from scheduler.planning.schedule.pulled_left import pulled_left
from scheduler.planning.schedule.reach import Net, Windows, net_of, windows
from scheduler.planning.schedule.serial import serial_pass
from scheduler.planning.tables.finish import NEVER

CRITICAL: Final = "meets the bound that weather, waits and calendars set without crews"
CREWS: Final = "meets the bound that the crews' own hours set"
SOLVER: Final = "proven by the constraint solver"
OPEN: Final = "the limit ended the search; the bound is the solver's"


@dataclass(frozen=True, slots=True)
class Limits:
    """How long to try; the solver's seconds are its own deterministic ones."""

    close_in: float = 20.0
    later_aims: float = 4.0  # each
    fence_s: float | None = None  # wall clock, for benchmarks only: with it plans may differ
    passes: int = 40  # orders tried for the first schedule, each from both ends


DEFAULT: Final = Limits()


def solve(
    problem: Problem, *, previous: Mapping[str, int] | None = None, limits: Limits = DEFAULT
) -> Plan:
    """Return the best plan found and how far it is proven.

    Parameters
    ----------
    problem : Problem
        What is to be planned.
    previous : mapping of str to int, optional
        Starts of the plan before; among equals one that keeps many of them is taken.
    limits : Limits
        How long to try.

    Raises
    ------
    ValueError
        If the problem contradicts itself: unknown names, a circle, a table that does not rise.
    """
    net = net_of(problem)
    free = windows(net)
    if free is None:
        return without_plan(Status.INFEASIBLE)
    search = _Search(problem, net, limits, least_values(problem, net, free))
    before = previous or {}
    search.offer(_like_before(net, before))
    search.begin(free)
    search.offer(_with_appointments_kept(problem, search.bound, limits))
    for aim in range(len(AIMS)):
        search.settle(aim)
        if search.best is None:
            return without_plan(
                search.status, search.bound if search.status is Status.NOT_FOUND else NEVER
            )
    starts = search.steady(before)
    return plan_of(problem, starts, bound=search.bound, settled=search.settled, proof=search.proof)


def _with_appointments_kept(problem: Problem, bound: int, limits: Limits) -> Starts | None:
    """Return a serial schedule that keeps every appointment, None where it finds none."""
    if all(work.booking is None for work in problem.tasks):
        return None
    pinned = tuple(
        work if work.booking is None else replace(work, booking=None, starts=(work.booking.start,))
        for work in problem.tasks
    )
    net = net_of(replace(problem, tasks=pinned))
    free = windows(net)
    if free is None:
        return None
    return best_serial(net, free, bound=bound, passes=limits.passes)


def _like_before(net: Net, previous: Mapping[str, int]) -> Starts | None:
    """Return a serial schedule in the order before, no task earlier than it was."""
    if not previous:
        return None
    rank = [previous.get(id_, NEVER) for id_ in net.ids]
    floors = [start if start < NEVER else 0 for start in rank]
    return serial_pass(net, rank, floors)


class _Search:
    """The best plan so far, and what is proven of it."""

    def __init__(self, problem: Problem, net: Net, limits: Limits, least: Values) -> None:
        self.problem, self.net, self.limits, self.least = problem, net, limits, least
        self.best: Starts | None = None
        self.values: Values = (NEVER, 0, 0, 0)
        self.bound = least[0]
        self.status = Status.NOT_FOUND
        self.settled: list[str] = []
        self.proof = CRITICAL
        self.model: Model | None = None

    def offer(self, starts: Starts | None) -> None:
        """Take a sound plan if it is better."""
        if starts is None:
            return
        values = values_of(self.problem, self.net, starts)
        if self.best is None or values < self.values:
            self.best, self.values = starts, values

    def begin(self, free: Windows) -> None:
        """Take the best serial schedule, stopping where it meets what the crews' hours allow."""
        self.offer(best_serial(self.net, free, bound=self.bound, passes=0))
        if self.best is not None:
            raised = crew_bound(self.net, self.bound, self.values[0])
            if raised > self.bound:
                self.least, self.bound = (raised, *self.least[1:]), raised
                self.proof = CREWS
        self.offer(
            best_serial(
                self.net, free, bound=self.bound, passes=self.limits.passes, begin=self.best
            )
        )

    def settle(self, aim: int) -> None:
        """Make one aim as good as can be with those before it held, as far as the limit goes."""
        if self.best is not None and self.values[aim] == self.least[aim]:
            self.settled.append(AIMS[aim])
            return
        answer = self._held(aim).minimise(aim, self.best, self._effort(aim))
        self.offer(answer.starts)
        if answer.status is Status.PROVEN:
            self.settled.append(AIMS[aim])
        if aim == 0:
            proven = answer.status is Status.PROVEN
            self.status, self.proof = answer.status, SOLVER if proven else OPEN
            self.bound = self.values[0] if proven else max(self.bound, answer.bound)

    def _effort(self, aim: int) -> Effort:
        tried = self.limits.close_in if aim == 0 else self.limits.later_aims
        return Effort(tried, self.limits.fence_s)

    def _held(self, aims: int) -> Model:
        """Return the model with the first aims held at what the best plan has."""
        if self.model is None:
            latest = None if self.best is None else self.values[0]
            self.model = Model(self.problem, self.net, self.least[0], latest)
        for aim in range(aims):
            self.model.hold(aim, self.values[aim])
        return self.model

    def steady(self, previous: Mapping[str, int]) -> Starts:
        """Return the best plan with many starts as they were before, the others early.

        A task that could begin on an earlier day does so: a start is not held for its own sake
        while a fit day goes by.
        """
        best = self.best or []
        before = [previous.get(id_, -1) for id_ in self.net.ids]
        wanted = sum(n in s for n, s in zip(before, map(set, self.net.starts), strict=True))
        if sum(a == b for a, b in zip(best, before, strict=True)) < wanted:
            answer = self._held(len(AIMS)).keep(before, best, self._effort(len(AIMS)))
            best = answer.starts or best
        best = self._rented_early(best, before)
        fixed = self._fixed()
        early = pulled_left(self.net, best, fixed, self._costs())
        as_before = {
            n
            for n, start in enumerate(best)
            if start == before[n] and self._day(early[n]) == self._day(start)
        }
        return pulled_left(self.net, best, fixed | as_before, self._costs())

    def _rented_early(self, best: Starts, before: Sequence[int]) -> Starts:
        """Return the plan with tasks that share equipment early together, at no more cost.

        One of them alone would only lengthen the rent. Those that begin as before stay.
        """
        rented = {self.net.ids.index(id_) for rent in self.problem.rents for id_ in rent.tasks}
        booked = {n for n, work in enumerate(self.problem.tasks) if work.booking is not None}
        free = [n for n in sorted(rented - booked) if best[n] != before[n]]
        span = windows(self.net)
        if span is None or all(best[n] == span.first[n] for n in free):
            return best
        stay = [n for n in range(len(best)) if n in booked or best[n] == before[n]]
        return (
            self._held(len(AIMS)).early(free, stay, best, self._effort(len(AIMS))).starts or best
        )

    def _fixed(self) -> set[int]:
        rented = {id_ for rent in self.problem.rents for id_ in rent.tasks}
        return {
            n
            for n, work in enumerate(self.problem.tasks)
            if work.booking is not None or work.id in rented
        }

    def _day(self, hour: int) -> int:
        """Return the local day of an hour; one day for all where the problem has no days."""
        return 0 if self.problem.days is None else int(self.problem.days[hour])

    def _costs(self) -> list[list[int] | None]:
        return [None if w.cost is None else w.cost.tolist() for w in self.problem.tasks]
