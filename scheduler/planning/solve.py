"""The plan, aim by aim: close in early, move few appointments, call few people, cost little.

Each aim is solved with those before it held; never one weighted sum. First comes the best of many
serial schedules; where it meets the bound without crews it is proven with no solver. Else CP-SAT
works on the work-time axis, with a literal for each distinct length and each distinct lag, start
windows and bound from the serial schedule, one worker, a fixed seed and a deterministic limit:
the same inputs give the same plan.

CP-SAT: L. Perron and F. Didier, OR-Tools, https://developers.google.com/optimization/.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from scheduler.planning.aims import AIMS, Values, least_values, values_of
from scheduler.planning.axis import axis_of, spans_of
from scheduler.planning.first_schedule import SEED, best_serial
from scheduler.planning.network import Plan, Problem, Rent, Status
from scheduler.planning.plans import plan_of, without_plan
from scheduler.planning.pulled_left import pulled_left
from scheduler.planning.reach import Bond, Net, net_of, windows
from scheduler.planning.serial import serial_pass
from scheduler.planning.tables import NEVER, FlatArray

Starts = list[int]  # start hour by task index
CRITICAL: Final = "meets the bound that weather, waits and calendars set without crews"
SOLVER: Final = "proven by the constraint solver"
OPEN: Final = "the limit ended the search; the bound is the solver's"


@dataclass(frozen=True, slots=True)
class Limits:
    """How long to try; the solver's seconds are its own deterministic ones."""

    close_in: float = 20.0
    later_aims: float = 4.0  # each
    fence_s: float | None = None  # wall clock, for benchmarks only: with it plans may differ
    passes: int = 100  # orders tried for the first schedule, each from both ends


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
    least = least_values(problem, net, free)
    search = _Search(problem, net, limits, least)
    before = previous or {}
    search.offer(_like_before(net, before))
    search.offer(best_serial(net, free, bound=least[0], passes=limits.passes))
    search.offer(_with_appointments_kept(problem, least[0], limits))
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
        self.model: _Model | None = None

    def offer(self, starts: Starts | None) -> None:
        """Take a sound plan if it is better."""
        if starts is None:
            return
        values = values_of(self.problem, self.net, starts)
        if self.best is None or values < self.values:
            self.best, self.values = starts, values

    def settle(self, aim: int) -> None:
        """Make one aim as good as can be with those before it held, as far as the limit goes."""
        if self.best is not None and self.values[aim] == self.least[aim]:
            self.settled.append(AIMS[aim])
            return
        effort = self.limits.close_in if aim == 0 else self.limits.later_aims
        answer = self._held(aim).minimise(aim, self.best, effort, self.limits)
        self.offer(answer.starts)
        if answer.status is Status.PROVEN:
            self.settled.append(AIMS[aim])
        if aim == 0:
            proven = answer.status is Status.PROVEN
            self.status, self.proof = answer.status, SOLVER if proven else OPEN
            self.bound = self.values[0] if proven else max(self.bound, answer.bound)

    def _held(self, aims: int) -> _Model:
        """Return the model with the first aims held at what the best plan has."""
        if self.model is None:
            latest = None if self.best is None else self.values[0]
            self.model = _Model(self.problem, self.net, latest)
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
            answer = self._held(len(AIMS)).keep(before, best, self.limits)
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
        return self._held(len(AIMS)).early(free, stay, best, self.limits).starts or best

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


@dataclass(frozen=True, slots=True)
class _Answer:
    """What one run of the solver gave."""

    status: Status
    starts: Starts | None
    bound: int  # least value of the aim that is not ruled out; for the close-in an hour


class _Model:
    """A problem in the solver's terms; ``Any`` stands for the solver's expressions."""

    def __init__(self, problem: Problem, net: Net, latest: int | None) -> None:
        from ortools.sat.python import cp_model  # heavy: only where needed

        span = windows(net, latest)
        if span is None:
            raise RuntimeError("a plan was found where the windows leave none")
        self.problem, self.net, self.sat = problem, net, cp_model
        self.cp = cp_model.CpModel()
        self.axis = axis_of(problem, net)
        self.spans = spans_of(net, self.axis, span)
        self.picked: dict[tuple[int, bytes], dict[int, Any]] = {}
        self.hints: list[tuple[Any, int, dict[int, int]]] = []  # variable, task, value by start
        self.held: dict[int, int] = {}
        self.start = [self._start(n) for n in range(len(self.spans))]
        self.end: list[Any] = []
        self.interval: list[Any] = []
        for task in range(len(self.spans)):
            self._lay(task)
        for bond in (bond for bonds in net.into for bond in bonds):
            self._bind(bond)
        for crew in range(len(net.capacity)):
            self._share(crew)
        self.aims = [self._close_in(), *self._calls(), self._cost()]

    def _start(self, task: int) -> Any:
        slots = self.spans[task].start.tolist()
        start = self.cp.new_int_var_from_domain(self.sat.Domain.from_values(slots), f"s{task}")
        self._hint(start, task, self.spans[task].start)
        return start

    def _hint(self, variable: Any, task: int, values: FlatArray) -> None:
        by_start = zip(self.spans[task].hour.tolist(), values.tolist(), strict=True)
        self.hints.append((variable, task, dict(by_start)))

    def _pick(self, task: int, values: FlatArray) -> dict[int, Any]:
        """Return a literal for each distinct value of a task's possible starts.

        Exactly one is true, and under it the start lies among those that have its value.
        """
        key = (task, values.tobytes())
        if key not in self.picked:
            literals: dict[int, Any] = {}
            for value in np.unique(values).tolist():
                literal = self.cp.new_bool_var(f"v{task}_{len(self.picked)}_{value}")
                slots = self.sat.Domain.from_values(self.spans[task].start[values == value])
                among = self.cp.add_linear_expression_in_domain(self.start[task], slots)
                among.only_enforce_if(literal)
                self._hint(literal, task, (values == value).astype(np.int64))
                literals[value] = literal
            self.cp.add_exactly_one(literals.values())
            self.picked[key] = literals
        return self.picked[key]

    def _total(self, task: int, values: FlatArray) -> Any:
        """Return the value of a task's start as an expression."""
        return sum(value * literal for value, literal in self._pick(task, values).items())

    def _lay(self, task: int) -> None:
        """Add a task's end and interval: a literal for each distinct length on the axis."""
        span = self.spans[task]
        size = span.end - span.start
        if np.unique(size).size == 1:
            fixed = int(size[0])
            self.end.append(self.start[task] + fixed)
            self.interval.append(
                self.cp.new_fixed_size_interval_var(self.start[task], fixed, f"i{task}")
            )
            return
        values = self.sat.Domain.from_values(np.unique(size))
        length = self.cp.new_int_var_from_domain(values, f"l{task}")
        end = self.cp.new_int_var(int(span.end[0]), int(span.end[-1]), f"e{task}")
        self._hint(length, task, size)
        self._hint(end, task, span.end)
        for value, literal in self._pick(task, size).items():
            self.cp.add(length == value).only_enforce_if(literal)
        self.end.append(end)
        self.interval.append(self.cp.new_interval_var(self.start[task], length, end, f"i{task}"))

    def _bind(self, bond: Bond) -> None:
        """Add a tie: a literal for each distinct lag on the axis."""
        span = self.spans[bond.before]
        hour, slot = (span.hour, span.start) if bond.from_start else (span.finish, span.end)
        counted = self.start[bond.before] if bond.from_start else self.end[bond.before]
        opens = self.axis.slot(np.array(bond.ready, dtype=np.int64)[hour])
        for lag, literal in self._lags(bond.before, opens - slot):
            later = self.cp.add(self.start[bond.after] >= counted + lag)
            if literal is not None:
                later.only_enforce_if(literal)
        if bond.within is not None:
            shuts = self.axis.slot(hour + bond.within + 1) - 1
            for lag, literal in self._lags(bond.before, shuts - slot):
                sooner = self.cp.add(self.start[bond.after] <= counted + lag)
                if literal is not None:
                    sooner.only_enforce_if(literal)

    def _lags(self, task: int, lag: FlatArray) -> list[tuple[int, Any]]:
        if np.unique(lag).size == 1:
            return [(int(lag[0]), None)]
        return list(self._pick(task, lag).items())

    def _share(self, crew: int) -> None:
        """Add a crew: its tasks do not overlap, or not more than there are of it."""
        tasks = [
            (self.interval[task], number)
            for task, needs in enumerate(self.net.crews)
            for of, number in needs
            if of == crew
        ]
        if self.net.capacity[crew] == 1:
            self.cp.add_no_overlap([interval for interval, _ in tasks])
        elif tasks:
            intervals, numbers = zip(*tasks, strict=True)
            self.cp.add_cumulative(intervals, numbers, self.net.capacity[crew])

    def _close_in(self) -> Any:
        closing = [n for n, closes in enumerate(self.net.closing) if closes]
        last = max(int(self.spans[n].end[-1]) for n in closing)
        first = max(int(self.spans[n].end[0]) for n in closing)
        done = self.cp.new_int_var(first, last, "close_in")
        for task in closing:
            self.cp.add(done >= self.end[task])
        return done

    def _calls(self) -> tuple[Any, Any]:
        """Return how many appointments are moved, and how many people that calls."""
        moved: dict[str, list[Any]] = {}
        for task, work in enumerate(self.problem.tasks):
            if work.booking is not None:
                elsewhere = (self.spans[task].hour != work.booking.start).astype(np.int64)
                moved.setdefault(work.booking.who, []).append(self._total(task, elsewhere))
        called = []
        for who, theirs in sorted(moved.items()):
            called.append(self.cp.new_bool_var(f"call {who}"))
            for one in theirs:
                self.cp.add(called[-1] >= one)
        return sum(one for theirs in moved.values() for one in theirs), sum(called)

    def _cost(self) -> Any:
        protection = [
            self._total(task, work.cost[self.spans[task].hour].astype(np.int64))
            for task, work in enumerate(self.problem.tasks)
            if work.cost is not None
        ]
        return sum(protection) + sum(self._rent(rent) for rent in self.problem.rents)

    def _rent(self, rent: Rent) -> Any:
        """Return what a piece of equipment costs: local days from first start to last finish."""
        if self.problem.days is None:
            raise ValueError("rents want the local day of each hour")
        days = self.problem.days.astype(np.int64)
        first = self.cp.new_int_var(0, int(days[-1]), f"first day {rent.id}")
        last = self.cp.new_int_var(0, int(days[-1]), f"last day {rent.id}")
        if rent.since is not None:
            self.cp.add(first <= int(days[max(rent.since, 0)]))
        for task in (self.net.ids.index(id_) for id_ in rent.tasks):
            span = self.spans[task]
            if rent.since is None:
                self.cp.add(first <= self._total(task, days[span.hour]))
            self.cp.add(last >= self._total(task, days[span.finish - 1]))
        return rent.cost_per_day * (last - first + 1)

    def hold(self, aim: int, value: int) -> None:
        """Let an aim get no worse than a value any more."""
        if aim in self.held:
            return
        self.held[aim] = value
        limit = int(self.axis.slot(value)) if aim == 0 else value
        self.cp.add(self.aims[aim] <= limit)

    def minimise(self, aim: int, best: Starts | None, effort: float, limits: Limits) -> _Answer:
        """Return the plan that is best in one aim, those held not getting worse."""
        answer = self._run(self.aims[aim], best, effort, limits)
        return replace(answer, bound=self.axis.done(answer.bound)) if aim == 0 else answer

    def keep(self, before: Sequence[int], best: Starts, limits: Limits) -> _Answer:
        """Return the plan that keeps the most starts of the one before."""
        elsewhere = [
            self._total(task, (self.spans[task].hour != start).astype(np.int64))
            for task, start in enumerate(before)
            if start >= 0
        ]
        return self._run(sum(elsewhere), best, limits.later_aims, limits)

    def early(
        self, tasks: Sequence[int], stay: Sequence[int], best: Starts, limits: Limits
    ) -> _Answer:
        """Return the plan in which some tasks begin soonest in sum, others as they are."""
        for task in stay:
            self.cp.add(self.start[task] == int(self.axis.slot(best[task])))
        return self._run(sum(self.start[n] for n in tasks), best, limits.later_aims, limits)

    def _run(self, aim: Any, best: Starts | None, effort: float, limits: Limits) -> _Answer:
        self.cp.minimize(aim)
        self.cp.clear_hints()  # type: ignore[no-untyped-call]
        if best is not None:
            for variable, task, value in self.hints:
                self.cp.add_hint(variable, value[best[task]])
        solver = self.sat.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.linearization_level = 0  # the tables are steps: lines through them
        solver.parameters.use_sat_inprocessing = False  # and long looking ahead cost more than
        solver.parameters.cp_model_probing_level = 0  # they give, see tests/benchmarks/plan_proof
        solver.parameters.symmetry_level = 0
        solver.parameters.max_presolve_iterations = 1
        solver.parameters.random_seed = SEED
        solver.parameters.max_deterministic_time = effort
        if limits.fence_s is not None:
            solver.parameters.max_time_in_seconds = limits.fence_s
        code = solver.solve(self.cp)
        if code == self.sat.INFEASIBLE:
            return _Answer(Status.INFEASIBLE, None, 0)
        bound = int(np.ceil(solver.best_objective_bound - 1e-6))
        if code == self.sat.UNKNOWN:
            status = Status.NOT_FOUND if best is None else Status.BOUNDED
            return _Answer(status, None, bound)
        if code not in {self.sat.OPTIMAL, self.sat.FEASIBLE}:
            raise RuntimeError(f"the solver refused the model: {solver.status_name(code)}")
        slots = [solver.value(start) for start in self.start]
        starts = [int(self.axis.hours[slot]) for slot in slots]
        return _Answer(
            Status.PROVEN if code == self.sat.OPTIMAL else Status.BOUNDED, starts, bound
        )
