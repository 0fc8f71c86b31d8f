"""How early and how late each task can be when crews are left aside.

These windows bound the plan from below, order the serial schedule and shorten what the solver
looks at. `Net` holds a problem's tables as plain lists, which Python's loops read fastest.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

import numpy as np

from scheduler.planning.schedule.network import Problem, Tie, permitted, topological
from scheduler.planning.tables.finish import NEVER, earliest, next_start


@dataclass(frozen=True, slots=True)
class Bond:
    """A tie by task indices."""

    before: int
    after: int
    ready: list[int]  # as the tie has it
    soonest: list[int]  # least of ``ready`` at or after; rises even where ``ready`` does not
    from_start: bool
    within: int | None


@dataclass(frozen=True, slots=True)
class Net:
    """A problem as lists by task index."""

    hours: int
    ids: list[str]
    order: list[int]  # predecessors first
    finish: list[list[int]]  # by start hour; NEVER where not permitted
    next_start: list[list[int]]  # by hour 0 .. hours
    starts: list[list[int]]  # permitted starts, and
    ends: list[list[int]]  # their finishes, rising alike
    into: list[list[Bond]]
    out_of: list[list[Bond]]
    crews: list[list[tuple[int, int]]]  # crew index, how many of it
    capacity: list[int]
    closing: list[bool]


@dataclass(frozen=True, slots=True)
class Windows:
    """First and last start of each task, by task index."""

    first: list[int]
    last: list[int]


def net_of(problem: Problem) -> Net:
    """Return a problem as lists.

    Raises
    ------
    ValueError
        If a finish table does not rise over its permitted starts, predecessors run in a circle,
        or a task needs more of a crew than there is.
    """
    tables = [permitted(work) for work in problem.tasks]
    for work, table in zip(problem.tasks, tables, strict=True):
        if (np.diff(table[table < NEVER]) < 0).any():
            raise ValueError(f"the finish table of {work.id} does not rise")
    starts = [np.flatnonzero(table < NEVER) for table in tables]
    crew_index = {crew: n for n, crew in enumerate(sorted(problem.crews))}
    into, out_of = _bonds(problem)
    closing = [work.closes for work in problem.tasks]
    return Net(
        hours=problem.hours,
        ids=[work.id for work in problem.tasks],
        order=topological(problem),
        finish=[[*table.tolist(), NEVER] for table in tables],
        next_start=[[*next_start(table).tolist(), NEVER] for table in tables],
        starts=[begin.tolist() for begin in starts],
        ends=[table[begin].tolist() for table, begin in zip(tables, starts, strict=True)],
        into=into,
        out_of=out_of,
        crews=[[(crew_index[c], n) for c, n in sorted(w.crews.items())] for w in problem.tasks],
        capacity=[problem.crews[crew] for crew in sorted(problem.crews)],
        closing=closing if any(closing) else [True] * len(closing),
    )


def _bonds(problem: Problem) -> tuple[list[list[Bond]], list[list[Bond]]]:
    index = {work.id: n for n, work in enumerate(problem.tasks)}
    lists: dict[int, tuple[list[int], list[int]]] = {}  # many ties share one table
    into: list[list[Bond]] = [[] for _ in problem.tasks]
    out_of: list[list[Bond]] = [[] for _ in problem.tasks]
    for tie in problem.ties:
        if id(tie.ready) not in lists:
            lists[id(tie.ready)] = (tie.ready.tolist(), earliest(tie.ready).tolist())
        bond = _bond(tie, index, lists[id(tie.ready)])
        into[bond.after].append(bond)
        out_of[bond.before].append(bond)
    return into, out_of


def _bond(tie: Tie, index: dict[str, int], lists: tuple[list[int], list[int]]) -> Bond:
    ready, soonest = lists
    return Bond(index[tie.before], index[tie.after], ready, soonest, tie.from_start, tie.within)


def windows(net: Net, latest: int | None = None) -> Windows | None:
    """Return first and last starts without crews, None where some task has no start left.

    Parameters
    ----------
    net : Net
        The problem.
    latest : int, optional
        Hour by which every closing task must be done.

    Returns
    -------
    Windows or None
        No plan that closes in by ``latest`` starts a task outside these.
    """
    count = len(net.ids)
    first = [0] * count
    last = [starts[-1] if starts else -1 for starts in net.starts]
    while True:
        before = (first[:], last[:])
        if not (_forward(net, first, last) and _backward(net, first, last, latest)):
            return None
        if (first, last) == before:
            return Windows(first, last)


def _forward(net: Net, first: list[int], last: list[int]) -> bool:
    for task in net.order:
        low = first[task]
        for bond in net.into[task]:
            at = first[bond.before]
            ref = at if bond.from_start else net.finish[bond.before][at]
            low = max(low, bond.soonest[ref])
        start = net.next_start[task][low] if low <= net.hours else NEVER
        if start > last[task]:
            return False
        first[task] = start
        if not all(_pull(net, bond, first) for bond in net.into[task] if bond.within is not None):
            return False
    return True


def _pull(net: Net, bond: Bond, first: list[int]) -> bool:
    """Raise the first start of a predecessor that the successor must follow within hours."""
    needed = first[bond.after] - (bond.within or 0)
    start = follow(net, bond, needed)
    first[bond.before] = max(first[bond.before], start)
    return start < NEVER


def follow(net: Net, bond: Bond, needed: int) -> int:
    """Return the first start of a bond's predecessor whose counted hour is not before one."""
    task = bond.before
    if bond.from_start:
        return net.next_start[task][min(max(needed, 0), net.hours)]
    at = bisect_right(net.ends[task], needed - 1)
    return net.starts[task][at] if at < len(net.starts[task]) else NEVER


def _backward(net: Net, first: list[int], last: list[int], latest: int | None) -> bool:
    for task in reversed(net.order):
        done = latest if latest is not None and net.closing[task] else net.hours
        start = last[task]
        for bond in net.out_of[task]:
            ref = bisect_right(bond.soonest, last[bond.after]) - 1
            start, done = (min(start, ref), done) if bond.from_start else (start, min(done, ref))
        fits = min(bisect_right(net.ends[task], done), bisect_right(net.starts[task], start)) - 1
        if fits < 0 or net.starts[task][fits] < first[task]:
            return False
        last[task] = net.starts[task][fits]
        for bond in net.out_of[task]:
            if bond.within is not None:
                ref = last[task] if bond.from_start else net.finish[task][last[task]]
                last[bond.after] = min(last[bond.after], ref + bond.within)
    return all(first[task] <= last[task] for task in net.order)


def close_in_bound(net: Net, span: Windows) -> int:
    """Return the hour before which no plan closes in, crews left aside."""
    closing = [task for task in net.order if net.closing[task]]
    return max((net.finish[task][span.first[task]] for task in closing), default=0)
