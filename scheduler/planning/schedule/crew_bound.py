"""The hour before which no plan closes in, by the hours that each crew has.

A close-in is ruled out where, between the first start of some task and the last finish of some
other, the work that cannot lie elsewhere takes more of a crew than there is (energetic reasoning:
J. Erschler, P. Lopez, 1990; P. Baptiste, C. Le Pape, W. Nuijten, Annals of Operations Research 92
(1999) 305-333; both cited from memory). Which hours are counted is free: every sum stays true.
Those in which no task of the crew can begin or end are left out, so that nights and storms do not
pass for time to work in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scheduler.planning.schedule.reach import Net, Windows, windows
from scheduler.planning.tables.finish import FlatArray


@dataclass(frozen=True, slots=True)
class CrewTasks:
    """The tasks of one crew on the hours that are counted for it."""

    capacity: int
    tasks: list[int]
    number: FlatArray  # (tasks,) how many of the crew each takes
    starts: list[FlatArray]  # by task: its permitted starts,
    begin: list[FlatArray]  # the counted hours before each of them
    end: list[FlatArray]  # and before the finish


def crew_tasks(net: Net) -> list[CrewTasks]:
    """Return each crew's tasks; crews without work left out."""
    found = []
    for crew, capacity in enumerate(net.capacity):
        needs = [
            (task, number) for task, of in enumerate(net.crews) for c, number in of if c == crew
        ]
        if needs:
            found.append(_counted(net, capacity, needs))
    return found


def _counted(net: Net, capacity: int, needs: list[tuple[int, int]]) -> CrewTasks:
    starts = [np.array(net.starts[task], dtype=np.int64) for task, _ in needs]
    ends = [np.array(net.ends[task], dtype=np.int64) for task, _ in needs]
    hours = np.unique(np.concatenate([*starts, *(end - 1 for end in ends)]))
    return CrewTasks(
        capacity=capacity,
        tasks=[task for task, _ in needs],
        number=np.array([number for _, number in needs], dtype=np.int64),
        starts=starts,
        begin=[np.searchsorted(hours, start) for start in starts],
        end=[np.searchsorted(hours, end) for end in ends],
    )


def overloaded(crew: CrewTasks, span: Windows) -> bool:
    """Return whether a crew has more work between two hours than it can do within windows."""
    first, last, length = [], [], []
    for task, starts, begin, end in zip(
        crew.tasks, crew.starts, crew.begin, crew.end, strict=True
    ):
        low = int(np.searchsorted(starts, span.first[task]))
        high = int(np.searchsorted(starts, span.last[task], side="right"))
        first.append(begin[low])
        last.append(end[high - 1])
        length.append((end[low:high] - begin[low:high]).min())
    opens, shuts, least = np.array(first), np.array(last), np.array(length)
    since, until = np.unique(opens)[:, None], np.unique(shuts)[None, :]
    room = (until - since).astype(np.int64)
    asked = np.zeros(room.shape, dtype=np.int64)
    for open_, shut, work, number in zip(opens, shuts, least, crew.number, strict=True):
        outside = np.maximum(np.maximum(since - open_, shut - until), 0)
        asked += number * np.clip(np.minimum(work - outside, room), 0, None)
    return bool((asked > crew.capacity * np.maximum(room, 0)).any())


def crew_bound(net: Net, low: int, high: int) -> int:
    """Return the hour before which no plan closes in, between a bound that is known and a plan.

    Parameters
    ----------
    net : Net
        The problem.
    low : int
        Hour before which no plan closes in, crews left aside.
    high : int
        Hour at which some plan closes in.
    """
    crews = crew_tasks(net)
    while low < high:
        middle = (low + high) // 2
        span = windows(net, middle)
        if span is None or any(overloaded(crew, span) for crew in crews):
            low = middle + 1
        else:
            high = middle
    return low
