"""The ids a job file gives and the links between its tasks, read from the tree.

They are looked at before the schema is sure of anything, so that a file with other faults still
has its cycles and repeated ids told.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from rules.errors import JobFileFault
from scheduler.jobfile.faults import fault_at
from scheduler.jobfile.tree import Node, Said


def ids_of(tree: Node, section: str) -> list[str]:
    """Return the ids of a section in the order of the file."""
    return [name for node in tree.listed(section) if (name := node.text("id")) is not None]


def repeated_ids(tree: Node, section: str, file: str) -> Iterator[JobFileFault]:
    """Yield a fault for each id that a section gives again."""
    seen: dict[str, int] = {}
    for index, node in enumerate(tree.listed(section)):
        name = node.text("id")
        if name is None:
            continue
        if name in seen:
            want = f"line {seen[name]} has this id already; give each its own"
            yield fault_at((section, index, "id"), name, want, tree, file)
        else:
            seen[name] = node.line


def cycles(tree: Node, file: str) -> Iterator[JobFileFault]:
    """Yield a fault for each ring of tasks that wait for each other."""
    before = _predecessors(tree)
    for ring in _rings(before):
        index = ids_of(tree, "tasks").index(ring[0])
        said = Said(" → ".join(ring))
        want = "tasks cannot wait for each other; take one of these links out"
        yield fault_at(("tasks", index, "after"), said, want, tree, file, on_key=True)


def _predecessors(tree: Node) -> dict[str, list[str]]:
    known = set(ids_of(tree, "tasks"))
    before: dict[str, list[str]] = {}
    for node in tree.listed("tasks"):
        name = node.text("id")
        if name is not None and name not in before:  # an id given again is told elsewhere
            links = [link.text("task") or link.text() for link in node.listed("after")]
            before[name] = [link for link in links if link in known]
    return before


def _rings(before: Mapping[str, list[str]]) -> Iterator[list[str]]:
    """Yield rings that share no task, each as a, b, ..., a with a first in the file."""
    order = list(before)
    left = _waiting(before, set(order))
    while left:
        walk = [next(name for name in order if name in left)]
        while walk.count(walk[-1]) == 1:
            walk.append(next(name for name in before[walk[-1]] if name in left))
        ring = walk[walk.index(walk[-1]) + 1 :][::-1]  # walked backwards
        first = min(range(len(ring)), key=lambda place: order.index(ring[place]))
        ring = ring[first:] + ring[:first]
        yield [*ring, ring[0]]
        left = _waiting(before, left - set(ring))


def _waiting(before: Mapping[str, list[str]], among: set[str]) -> set[str]:
    """Return the tasks that can never begin: those of a ring, and all that wait for one."""
    waits = {name: sum(link in among for link in before[name]) for name in among}
    after: dict[str, list[str]] = {name: [] for name in among}
    for name in among:
        for link in before[name]:
            if link in among:
                after[link].append(name)
    ready = [name for name, count in waits.items() if count == 0]
    while ready:
        for follower in after[ready.pop()]:
            waits[follower] -= 1
            if waits[follower] == 0:
                ready.append(follower)
    return {name for name, count in waits.items() if count > 0}
