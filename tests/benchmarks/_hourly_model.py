"""The model one would write first: an hour variable a task, its finish looked up hour by hour.

Kept beside the planner's own for its benchmark, and as a second opinion on its figures. It knows
crews of one only.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Any

import numpy as np
from ortools.sat.python import cp_model

from scheduler.planning.schedule.network import Problem, Tie, permitted
from scheduler.planning.tables.finish import NEVER


@dataclass(frozen=True)
class Outcome:
    """What the hourly model says of one question."""

    value: int | None  # of the best plan found; None and proven: there is no plan
    bound: int
    proven: bool
    seconds: float  # build and search


class HourlyModel:
    """A problem by the hour; ``Any`` stands for the solver's expressions."""

    def __init__(self, problem: Problem) -> None:
        self.began = time.perf_counter()
        self.problem = problem
        self.cp = cp_model.CpModel()
        self.start: dict[str, Any] = {}
        self.end: dict[str, Any] = {}
        intervals: dict[str, list[Any]] = {crew: [] for crew in problem.crews}
        for work in problem.tasks:
            interval = self._lay(work.id, permitted(work))
            for crew in work.crews:
                intervals[crew].append(interval)
        for theirs in intervals.values():
            self.cp.add_no_overlap(theirs)
        for tie in problem.ties:
            self._bind(tie)
        self.done = self.cp.new_int_var(0, problem.hours, "close_in")
        for work in problem.tasks:
            if work.closes:
                self.cp.add(self.done >= self.end[work.id])

    def _lay(self, task: str, finish: np.ndarray) -> Any:
        """Add a task: the start among its permitted hours, the end from its table."""
        hours = np.flatnonzero(finish < NEVER)
        domain = cp_model.Domain.from_values(hours.tolist())
        start = self.cp.new_int_var_from_domain(domain, f"s{task}")
        end = self.cp.new_int_var(0, self.problem.hours, f"e{task}")
        self.cp.add_element(start, np.minimum(finish, self.problem.hours + 1).tolist(), end)
        self.start[task], self.end[task] = start, end
        length = self.cp.new_int_var(0, self.problem.hours, f"l{task}")
        return self.cp.new_interval_var(start, length, end, f"i{task}")

    def _bind(self, tie: Tie) -> None:
        counted = self.start[tie.before] if tie.from_start else self.end[tie.before]
        opens = self.cp.new_int_var(0, self.problem.hours, f"o{tie.before}{tie.after}")
        self.cp.add_element(counted, np.minimum(tie.ready, self.problem.hours + 1).tolist(), opens)
        self.cp.add(self.start[tie.after] >= opens)
        if tie.within is not None:
            self.cp.add(self.start[tie.after] <= counted + tie.within)

    def close_in(self, seconds: float) -> Outcome:
        """Return the earliest close-in found in so many seconds of search."""
        self.cp.minimize(self.done)
        return self._run(seconds)

    def fewest_moved(self, close_in: int, seconds: float) -> Outcome:
        """Return how few appointments move in a plan that closes in by an hour."""
        self.cp.add(self.done <= close_in)
        moved = []
        for work in self.problem.tasks:
            if work.booking is not None:
                moved.append(self.cp.new_bool_var(f"m{work.id}"))
                self.cp.add(self.start[work.id] == work.booking.start).only_enforce_if(~moved[-1])
        self.cp.minimize(sum(moved))
        return self._run(seconds)

    def _run(self, seconds: float) -> Outcome:
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.max_time_in_seconds = seconds
        code = solver.solve(self.cp)
        found = code in {cp_model.OPTIMAL, cp_model.FEASIBLE}
        return Outcome(
            value=round(solver.objective_value) if found else None,
            bound=int(np.ceil(solver.best_objective_bound - 1e-6)),
            proven=code in {cp_model.OPTIMAL, cp_model.INFEASIBLE},
            seconds=time.perf_counter() - self.began,
        )
