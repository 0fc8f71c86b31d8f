"""Random problems for the planner's tests, and a brute-force answer to the small ones."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product

import numpy as np

from scheduler.planning.schedule.network import Booking, Problem, Rent, Tie, Work
from scheduler.planning.tables.finish import (
    NEVER,
    Effort,
    finish_table,
    ready_after,
    ready_after_shifts,
)


def random_problem(
    rng: np.random.Generator,
    *,
    tasks: int,
    hours: int,
    crews: int = 2,
    fit: float = 0.85,
    bookings: bool = False,
    costs: bool = False,
    rents: int = 0,
) -> Problem:
    """Return a problem with pauses, waits, gates, caps and crews drawn at random."""
    shift = np.arange(hours) % 8 < 5
    works, ties = [], []
    for n in range(tasks):
        effort = Effort(
            int(rng.integers(1, 6)),
            may_pause=bool(rng.random() < 0.5),
            least_piece=int(rng.integers(1, 3)),
            set_up=int(rng.random() < 0.2),
        )
        if not effort.may_pause:
            effort = Effort(min(effort.hours, 4))
        works.append(_work(rng, n, effort, shift, hours, crews, fit, bookings, costs))
        before = [b for b in range(n) if rng.random() < 1.2 / tasks]
        ties += [_tie(rng, b, n, hours, shift) for b in before]
    return Problem(
        hours=hours,
        tasks=tuple(works),
        ties=tuple(ties),
        crews={f"crew{c}": 1 + (c == 0) for c in range(crews)},
        rents=tuple(_rent(rng, n, tasks) for n in range(rents)),
        days=(np.arange(hours + 1) // 8).astype(np.int32) if rents else None,
    )


def _rent(rng: np.random.Generator, n: int, tasks: int) -> Rent:
    """Return equipment for some tasks; half of it is on site already."""
    some = rng.choice(tasks, size=int(rng.integers(1, min(tasks, 3) + 1)), replace=False)
    since = int(rng.integers(-9, 5)) if rng.random() < 0.5 else None
    return Rent(f"r{n}", tuple(f"t{t}" for t in sorted(some)), int(rng.integers(1, 9)), since)


def _work(rng, n, effort, shift, hours, crews, fit, bookings, costs) -> Work:
    finish = finish_table(rng.random(hours) < fit, shift, effort)
    crew = int(rng.integers(0, crews))
    booking = None
    allowed = np.flatnonzero(finish < NEVER)
    if bookings and allowed.size and rng.random() < 0.4:
        picks = sorted({int(rng.choice(allowed)) for _ in range(4)})
        slots = tuple(picks) if rng.random() < 0.7 else ()
        booking = Booking(who=f"who{n % 2}", start=int(rng.choice(picks)), slots=slots)
    return Work(
        id=f"t{n}",
        finish=finish,
        crews={f"crew{crew}": 1 + (crew == 0 and rng.random() < 0.3)},
        closes=bool(rng.random() < 0.5),
        not_before=int(rng.integers(0, 6)),
        booking=booking,
        cost=rng.integers(0, 3, hours).astype(np.int32) if costs else None,
        fair=finish_table(np.ones(hours, bool), shift, effort),
    )


def _tie(rng, before, after, hours, shift) -> Tie:
    kind = rng.random()
    if kind < 0.4:
        ready = ready_after(hours, 0)
    elif kind < 0.6:
        ready = ready_after(hours, int(rng.integers(0, 7)))
    elif kind < 0.8:
        ready = ready_after_shifts(shift, int(rng.integers(1, 4)))
    else:  # a gate; it need not rise
        ready = (ready_after(hours, 0) + rng.integers(0, 8, hours + 1)).astype(np.int32)
    within = int(rng.integers(4, 12)) if rng.random() < 0.2 else None
    return Tie(f"t{before}", f"t{after}", ready, bool(rng.random() < 0.25), within)


def brute_force(
    problem: Problem, before: Mapping[str, int] | None = None
) -> tuple[int, ...] | None:
    """Return the least (close-in, appointments moved, people called, cost), None without a plan.

    With a plan before also how many starts are not as they were in it, for the last aim. Tries
    every start of every task, depth first; reads the tables only.
    """
    ids = [work.id for work in problem.tasks]
    index = {id_: n for n, id_ in enumerate(ids)}
    into = [[tie for tie in problem.ties if tie.after == id_] for id_ in ids]
    closing = [work.closes for work in problem.tasks]
    closing = closing if any(closing) else [True] * len(ids)
    options = [_options(work) for work in problem.tasks]
    taken = {crew: [0] * problem.hours for crew in problem.crews}
    starts = [0] * len(ids)
    best: list[tuple[int, ...] | None] = [None]
    known = before or {}

    def free(n: int, start: int, finish: int) -> bool:
        return all(
            taken[crew][hour] + need <= problem.crews[crew]
            for crew, need in problem.tasks[n].crews.items()
            for hour in range(start, finish)
        )

    def book(n: int, start: int, finish: int, sign: int) -> None:
        for (crew, need), hour in product(problem.tasks[n].crews.items(), range(start, finish)):
            taken[crew][hour] += sign * need

    def opens(n: int, start: int) -> bool:
        for tie in into[n]:
            before = index[tie.before]
            ref = starts[before]
            if not tie.from_start:
                ref = int(problem.tasks[before].finish[ref])
            if start < tie.ready[ref] or (tie.within is not None and start > ref + tie.within):
                return False
        return True

    def go(n: int, close_in: int, moved: tuple[str, ...], cost: int, changed: int) -> None:
        done = n == len(ids)
        total = cost + (sum(_paid(problem, rent, starts) for rent in problem.rents) if done else 0)
        value: tuple[int, ...] = (close_in, len(moved), len(set(moved)), total)
        value += () if before is None else (changed,)
        if best[0] is not None and value >= best[0]:
            return
        if done:
            best[0] = value
            return
        for start, finish, who, price in options[n]:
            if opens(n, start) and free(n, start, finish):
                starts[n] = start
                book(n, start, finish, 1)
                later = max(close_in, finish) if closing[n] else close_in
                other = changed + (start != known.get(ids[n], start))
                go(n + 1, later, (*moved, who) if who else moved, cost + price, other)
                book(n, start, finish, -1)

    go(0, 0, (), 0, 0)
    return best[0]


def _paid(problem: Problem, rent: Rent, starts: Sequence[int]) -> int:
    """Return what equipment costs: the days its tasks touch, hour by hour, from its arrival."""
    touched: set[int] = set()
    for work, start in zip(problem.tasks, starts, strict=True):
        if work.id in rent.tasks:
            touched |= {int(problem.days[h]) for h in range(start, int(work.finish[start]))}
    first = min(touched) if rent.since is None else int(problem.days[max(rent.since, 0)])
    return rent.cost_per_day * len(range(first, max(touched) + 1))


def _options(work: Work) -> list[tuple[int, int, str, int]]:
    """Return start, finish, who must be called, and cost of every start that is offered."""
    rows = []
    for start in range(work.not_before, work.finish.size):
        finish = int(work.finish[start])
        booking = work.booking
        if finish == NEVER or (work.starts and start not in work.starts):
            continue
        moved = booking is not None and start != booking.start
        if moved and booking is not None:
            offered = start in booking.slots if booking.slots else start > booking.start
            if not offered or start < booking.earliest_move:
                continue
        cost = 0 if work.cost is None else int(work.cost[start])
        rows.append((start, finish, booking.who if moved else "", cost))
    return rows
