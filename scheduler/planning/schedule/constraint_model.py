"""A problem in the terms of CP-SAT, on the work-time axis.

A literal stands for each distinct length and each distinct lag of a task on the axis; starts lie
in the windows that the plan found before leaves. One worker, a fixed seed and a deterministic
limit: the same inputs give the same answer.

CP-SAT: L. Perron and F. Didier, OR-Tools, https://developers.google.com/optimization/.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from scheduler.planning.schedule.axis import axis_of, spans_of
from scheduler.planning.schedule.network import Problem, Rent, Status
from scheduler.planning.schedule.reach import Bond, Net, windows
from scheduler.planning.schedule.serial import close_in
from scheduler.planning.tables.finish import FlatArray

Starts = list[int]  # start hour by task index
SEED: Final = 20261125
# Tables are steps: a relaxation by lines, and long looking ahead before and during the search,
# cost more than they give (tests/benchmarks/plan_proof.py, tests/psplib.py).
LEAN: Final = {
    "linearization_level": 0,
    "use_sat_inprocessing": False,
    "cp_model_probing_level": 0,
    "symmetry_level": 0,
    "max_presolve_iterations": 1,
}


@dataclass(frozen=True, slots=True)
class Effort:
    """How long to try."""

    deterministic: float  # the solver's own seconds, the same on every machine
    fence_s: float | None = None  # wall clock, for benchmarks only: with it plans may differ


@dataclass(frozen=True, slots=True)
class Answer:
    """What one run of the solver gave."""

    status: Status
    starts: Starts | None
    bound: int  # least value of the aim that is not ruled out; for the close-in an hour


class Model:
    """A problem in the solver's terms; ``Any`` stands for the solver's expressions.

    Parameters
    ----------
    problem, net : Problem, Net
        What is to be planned.
    bound : int
        Hour before which no plan closes in.
    latest : int or None
        Hour at which some plan closes in, where one was found.
    """

    def __init__(self, problem: Problem, net: Net, bound: int, latest: int | None) -> None:
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
        self.aims = [self._close_in(bound), *self._calls(), self._cost()]

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

    def _close_in(self, bound: int) -> Any:
        closing = [n for n, closes in enumerate(self.net.closing) if closes]
        last = max(int(self.spans[n].end[-1]) for n in closing)
        first = max(int(self.axis.slot(bound)), *(int(self.spans[n].end[0]) for n in closing))
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

    def minimise(self, aim: int, best: Starts | None, effort: Effort) -> Answer:
        """Return the plan that is best in one aim, those held not getting worse."""
        answer = self._run(self.aims[aim], best, effort)
        return replace(answer, bound=self.axis.done(answer.bound)) if aim == 0 else answer

    def keep(self, before: Sequence[int], best: Starts, effort: Effort) -> Answer:
        """Return the plan that keeps the most starts of the one before."""
        elsewhere = [
            self._total(task, (self.spans[task].hour != start).astype(np.int64))
            for task, start in enumerate(before)
            if start >= 0
        ]
        return self._run(sum(elsewhere), best, effort)

    def early(
        self, tasks: Sequence[int], stay: Sequence[int], best: Starts, effort: Effort
    ) -> Answer:
        """Return the plan in which some tasks begin soonest in sum, others as they are."""
        for task in stay:
            self.cp.add(self.start[task] == int(self.axis.slot(best[task])))
        return self._run(sum(self.start[n] for n in tasks), best, effort)

    def _run(self, aim: Any, best: Starts | None, effort: Effort) -> Answer:
        self.cp.minimize(aim)
        self.cp.clear_hints()  # type: ignore[no-untyped-call]
        if best is not None:
            for variable, task, value in self.hints:
                self.cp.add_hint(variable, value[best[task]])
            self.cp.add_hint(self.aims[0], int(self.axis.slot(close_in(self.net, best))))
        solver = self.sat.CpSolver()
        solver.parameters.num_workers = 1
        for name, chosen in LEAN.items():
            setattr(solver.parameters, name, chosen)
        solver.parameters.random_seed = SEED
        solver.parameters.max_deterministic_time = effort.deterministic
        if effort.fence_s is not None:
            solver.parameters.max_time_in_seconds = effort.fence_s
        code = solver.solve(self.cp)
        if code == self.sat.INFEASIBLE:
            return Answer(Status.INFEASIBLE, None, 0)
        bound = int(np.ceil(solver.best_objective_bound - 1e-6))
        if code == self.sat.UNKNOWN:
            status = Status.NOT_FOUND if best is None else Status.BOUNDED
            return Answer(status, None, bound)
        if code not in {self.sat.OPTIMAL, self.sat.FEASIBLE}:
            raise RuntimeError(f"the solver refused the model: {solver.status_name(code)}")
        slots = [solver.value(start) for start in self.start]
        starts = [int(self.axis.hours[slot]) for slot in slots]
        return Answer(Status.PROVEN if code == self.sat.OPTIMAL else Status.BOUNDED, starts, bound)
