"""How long building and proving a season's plan takes, and the plan after a lost day.

Made jobs of 40, 60 and 80 tasks, three crews, 90 days, in which the crews bind: work that pauses
by night and work that may not, waits, cure gates, windows from a verdict mask. Aims, in processor
seconds from problem to plan, one worker: 0.5, 1.5 and 5, twice that with three different
calendars, or for 80 tasks the bound printed; 1 after a lost day, with as few appointments moved as
can be. In the same run the hourly element model, which looks each finish up hour by hour: where it
comes to an answer it must be ours. A busy machine stretches processor time too, though less.
Run ``python -m tests.benchmarks.plan_proof``.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from statistics import median

from scheduler.planning.schedule.check import faults_of
from scheduler.planning.schedule.network import Plan, Problem, Status
from scheduler.planning.schedule.reach import close_in_bound, net_of, windows
from scheduler.planning.schedule.solve import solve
from tests.benchmarks._hourly_model import HourlyModel, Outcome
from tests.benchmarks._season_nets import (
    DIFFERENT,
    SAME,
    Calendars,
    Season,
    after_lost_day,
    agreed,
    season,
)

AIMS_S = {40: 0.5, 60: 1.5, 80: 5.0}
BOUND_WILL_DO = 80  # tasks of the jobs for which a printed bound is an answer
REPLAN_AIM_S = 1.0
NETS, AGREED = 5, 20  # jobs of each kind; tasks of those that the hourly model can do
HOURLY_S = 20.0  # of search for the hourly model
VISITS = 6


def timed(problem: Problem, plan: Plan | None = None) -> tuple[Plan, float]:
    """Return a checked plan, and the processor seconds it took."""
    began = time.process_time()
    found = solve(problem, previous=None if plan is None else plan.starts())
    took = time.process_time() - began
    if faults := faults_of(problem, found):
        raise AssertionError(f"an unsound plan: {faults}")
    return found, took


def crew_bound(tasks: int, calendars: Calendars, visits: int = 0) -> Iterator[tuple[int, Season]]:
    """Yield seed and job of those whose crews make them later than chains and weather do."""
    for seed in range(1000):
        made = season(seed, tasks, calendars, bookings=visits)
        net = net_of(made.problem)
        free = windows(net)
        if free is None:
            continue
        if solve(season(seed, tasks, calendars).problem).bound > close_in_bound(net, free):
            yield seed, made


def first(tasks: int, calendars: Calendars, visits: int = 0) -> list[tuple[int, Season]]:
    """Return the first so many jobs that crews bind."""
    jobs = crew_bound(tasks, calendars, visits)
    return [next(jobs) for _ in range(NETS)]


def proofs(tasks: int, calendars: Calendars, aim_s: float) -> bool:
    """Print how long plans of a size take; return whether every one is within the aim."""
    name = "one calendar" if calendars is SAME else "three calendars"
    rows = [(seed, *timed(made.problem)) for seed, made in first(tasks, calendars)]
    took = [seconds for _, _, seconds in rows]
    proven = sum(plan.status is Status.PROVEN for _, plan, _ in rows)
    print(
        f"{tasks} tasks, {name:15s} {proven} of {len(rows)} proven, median {median(took):.2f} s, "
        f"worst {max(took):.2f} s, aim {aim_s} s",
        flush=True,
    )
    for seed, plan, seconds in rows:
        if plan.status is not Status.PROVEN:
            print(f"   job {seed}: closes in at {plan.close_in}, not before {plan.bound}")
        elif seconds > aim_s:
            print(f"   job {seed}: {seconds:.2f} s")
    late = [s for _, plan, s in rows if plan.status is Status.PROVEN and s > aim_s]
    return not late and (proven == len(rows) or tasks == BOUND_WILL_DO)


def hourly(tasks: int) -> bool:
    """Print what the hourly model makes of the first job of a size; False where they differ."""
    ((_, made), *_) = first(tasks, SAME)
    theirs, (plan, took) = HourlyModel(made.problem).close_in(HOURLY_S), timed(made.problem)
    print(f"{tasks} tasks, hourly model: {said(theirs)}; ours {plan.close_in} in {took:.2f} s")
    return compatible(theirs, plan.close_in, plan.bound)


def said(theirs: Outcome) -> str:
    """Return an outcome in words."""
    found = "no plan" if theirs.value is None else f"{theirs.value}"
    known = "proven" if theirs.proven else f"bound {theirs.bound}"
    return f"{found}, {known}, {theirs.seconds:.1f} s"


def compatible(theirs: Outcome, value: int, bound: int) -> bool:
    """Return whether neither model's answer is ruled out by the other's bound."""
    return theirs.bound <= value and (theirs.value is None or theirs.value >= bound)


def replans(tasks: int) -> bool:
    """Print how long a plan after a lost day takes; return whether it is within the aims."""
    took: list[float] = []
    moved: list[int | str] = []
    agree: list[bool] = []
    proven = 0
    for seed, made in first(tasks, SAME, VISITS):
        before, _ = timed(season(seed, tasks).problem)
        visits = agreed(made, before)
        kept, _ = timed(visits.problem, before)
        late = after_lost_day(visits, kept, day=kept.close_in // 24 // 3)
        plan, seconds = timed(late, kept)
        took.append(seconds)
        moved.append(len(plan.moved) if plan.placed else "no plan")
        none = plan.status is Status.INFEASIBLE
        proven += none or {"close_in", "appointments"} <= set(plan.settled)
        if tasks == AGREED:
            theirs = HourlyModel(late).fewest_moved(plan.close_in, HOURLY_S)
            agree.append(theirs.proven)
            if none != (theirs.proven and theirs.value is None) or not (
                none or compatible(theirs, len(plan.moved), len(plan.moved))
            ):
                print(f"   job {seed}: {len(plan.moved)} moved, hourly model {said(theirs)}")
                return False
    print(
        f"{tasks} tasks, a day lost: median {median(took):.2f} s, worst {max(took):.2f} s, aim "
        f"{REPLAN_AIM_S} s; appointments moved {moved}, fewest proven {proven} of {len(took)}"
        + (f", by the hourly model too {sum(agree)}" if agree else ""),
        flush=True,
    )
    return max(took) <= REPLAN_AIM_S and proven == len(took)


def main() -> int:
    """Print every figure; 1 where an aim is missed."""
    solve(season(0, AGREED).problem)  # the solver's own import is not counted
    met = [
        proofs(tasks, calendars, aim * factor)
        for calendars, factor in ((SAME, 1), (DIFFERENT, 2))
        for tasks, aim in AIMS_S.items()
    ]
    met += [replans(tasks) for tasks in (AGREED, *AIMS_S)]
    met += [hourly(tasks) for tasks in (AGREED, *AIMS_S)]
    return int(not all(met))


if __name__ == "__main__":
    sys.exit(main())
