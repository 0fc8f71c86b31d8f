"""PSPLIB, a public benchmark of project scheduling, read as planning problems.

R. Kolisch and A. Sprecher, "PSPLIB - A project scheduling problem library", European Journal of
Operational Research 96 (1997) 205-216. Files ``jNNG_K.sm``; makespans known best stand beside
them in ``best_known.csv``.
"""

from __future__ import annotations

import argparse
import csv
import re
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from ortools.sat.python import cp_model

from scheduler.planning.schedule.check import faults_of
from scheduler.planning.schedule.network import Problem, Status, Tie, Work
from scheduler.planning.schedule.solve import Limits, solve
from scheduler.planning.tables.finish import NEVER, ready_after


@dataclass(frozen=True)
class Instance:
    """One file: durations, successors, demands; jobs from 1, first and last of no duration."""

    name: str
    duration: dict[int, int]
    successors: dict[int, list[int]]
    demand: dict[int, list[int]]
    capacity: list[int]

    def problem(self) -> Problem:
        """Return the instance as a planning problem over the sum of its durations."""
        hours = sum(self.duration.values()) + 1
        ready = ready_after(hours, 0)
        crews = {f"r{n}": size for n, size in enumerate(self.capacity)}
        return Problem(
            hours=hours,
            tasks=tuple(
                Work(
                    id=f"{job:03d}",
                    finish=_finish(hours, self.duration[job]),
                    crews={f"r{n}": need for n, need in enumerate(self.demand[job]) if need},
                )
                for job in sorted(self.duration)
            ),
            ties=tuple(
                Tie(before=f"{job:03d}", after=f"{after:03d}", ready=ready)
                for job in sorted(self.successors)
                for after in self.successors[job]
            ),
            crews=crews,
        )


def _finish(hours: int, duration: int) -> np.ndarray:
    finish = np.arange(hours, dtype=np.int32) + duration
    return np.where(finish < hours + (duration > 0), finish, NEVER).astype(np.int32)


def read_instance(path: Path) -> Instance:
    """Read one single-mode file."""
    text = path.read_text(encoding="ascii")
    links = _rows(text, "PRECEDENCE RELATIONS:")
    needs = _rows(text, "REQUESTS/DURATIONS:")
    (capacity,) = _rows(text, "RESOURCEAVAILABILITIES:")
    instance = Instance(
        name=path.stem,
        duration={row[0]: row[2] for row in needs},
        successors={row[0]: row[3:] for row in links},
        demand={row[0]: row[3:] for row in needs},
        capacity=capacity,
    )
    assert all(len(row) == 3 + row[2] for row in links), f"{path.name}: successors miscounted"
    assert instance.duration.keys() == instance.successors.keys()
    return instance


def _rows(text: str, title: str) -> list[list[int]]:
    section = text.split(title, 1)[1].split("****", 1)[0]
    lines = [line.split() for line in section.splitlines()]
    return [[int(x) for x in line] for line in lines if line and line[0].isdigit()]


def best_known(folder: Path) -> dict[str, tuple[int, int]]:
    """Return lower and upper bound of each instance, from the table beside the folder."""
    with (folder.parent / "best_known.csv").open(encoding="ascii", newline="") as file:
        return {
            row["instance"]: (int(row["lower_bound"]), int(row["upper_bound"]))
            for row in csv.DictReader(file)
        }


def files_of(folder: Path) -> list[Path]:
    """Return a folder's instances in the order of their numbers."""
    return sorted(folder.glob("*.sm"), key=lambda p: [int(n) for n in re.findall(r"\d+", p.stem)])


@dataclass(frozen=True)
class Result:
    """What one way of planning made of one instance."""

    makespan: int | None
    bound: int
    proven: bool
    seconds: float
    faults: tuple[str, ...] = ()


@dataclass(frozen=True)
class Fence:
    """How long each instance is tried."""

    seconds: float
    by_clock: bool  # else the solver's own seconds, which a busy machine does not shorten


def by_closein(instance: Instance, fence: Fence) -> Result:
    """Plan with the product's public function."""
    problem = instance.problem()
    begin = time.perf_counter()
    by_clock = Limits(close_in=1e9, fence_s=fence.seconds)
    limits = by_clock if fence.by_clock else Limits(close_in=fence.seconds)
    plan = solve(problem, limits=limits)
    took = time.perf_counter() - begin
    faults = tuple(faults_of(problem, plan)) if plan.placed else ("no plan",)
    return Result(plan.close_in, plan.bound, plan.status is Status.PROVEN, took, faults)


def by_textbook(instance: Instance, fence: Fence) -> Result:
    """Plan with the textbook model: an interval a job, a cumulative a resource, makespan."""
    begin = time.perf_counter()
    model = cp_model.CpModel()
    horizon = sum(instance.duration.values())
    start = {job: model.new_int_var(0, horizon, f"s{job}") for job in instance.duration}
    for job, successors in instance.successors.items():
        for after in successors:
            model.add(start[after] >= start[job] + instance.duration[job])
    for resource, capacity in enumerate(instance.capacity):
        users = [job for job in start if instance.demand[job][resource] > 0]
        intervals = [
            model.new_fixed_size_interval_var(start[job], instance.duration[job], f"i{job}")
            for job in users
        ]
        model.add_cumulative(intervals, [instance.demand[j][resource] for j in users], capacity)
    model.minimize(start[max(start)])
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    if fence.by_clock:
        solver.parameters.max_time_in_seconds = fence.seconds
    else:
        solver.parameters.max_deterministic_time = fence.seconds
    code = solver.solve(model)
    found = code in {cp_model.OPTIMAL, cp_model.FEASIBLE}
    makespan = int(solver.objective_value) if found else None
    bound = int(np.ceil(solver.best_objective_bound - 1e-6))
    return Result(makespan, bound, code == cp_model.OPTIMAL, time.perf_counter() - begin)


def report(
    name: str,
    way: Callable[[Instance, Fence], Result],
    instances: list[Instance],
    known: dict[str, tuple[int, int]],
    fence: Fence,
) -> tuple[float, list[str]]:
    """Run one way over the instances, print its line; return share proven and faults."""
    results = {instance.name: way(instance, fence) for instance in instances}
    faults = [f"{name}: {n}: {fault}" for n, r in results.items() for fault in r.faults]
    for n, r in results.items():
        low, high = known[n]
        if r.makespan is not None and (r.makespan < low or r.bound > high):
            faults.append(f"{name}: {n}: {r.bound}..{r.makespan} contradicts {low}..{high}")
    gaps = [r.makespan / known[n][1] - 1 for n, r in results.items() if r.makespan is not None]
    times = sorted(r.seconds for r in results.values())
    proven = sum(r.proven for r in results.values())
    print(
        f"{name:12s} {len(results):4d} instances {len(gaps):4d} feasible {proven:4d} proven "
        f"({100 * proven / len(results):.1f} %)  mean gap {100 * float(np.mean(gaps)):.3f} %  "
        f"equal {sum(gap == 0 for gap in gaps):4d}  median {times[len(times) // 2]:.3f} s  "
        f"total {sum(times):.0f} s",
        flush=True,
    )
    return proven / len(results), faults


def main(arguments: list[str] | None = None) -> int:
    """Run the benchmark; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.psplib")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=5.0)
    parser.add_argument(
        "--deterministic", action="store_true", help="the solver's own seconds, not the clock's"
    )
    parser.add_argument("--least", type=float, default=0.96, help="share that must be proven")
    parser.add_argument("--alone", action="store_true", help="without the textbook model")
    options = parser.parse_args(arguments)
    instances = [read_instance(path) for path in files_of(options.folder)[:: options.every]]
    if not instances:
        parser.error(f"{options.folder} holds no .sm files")
    known = best_known(options.folder)
    fence = Fence(options.seconds, by_clock=not options.deterministic)
    share, faults = report("closein", by_closein, instances, known, fence)
    if not options.alone:
        report("textbook", by_textbook, instances, known, fence)
    for fault in faults:
        print(fault)
    return 1 if faults or share < options.least else 0


if __name__ == "__main__":
    sys.exit(main())
