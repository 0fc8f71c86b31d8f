"""What the log tells in an order that cannot be: work finished before what comes before it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from scheduler.planning.model.job import Job, Link, LinkKind, State, Task
from scheduler.planning.model.standing import Standing


def told_too_soon(
    job: Job, task: Task, standing: Mapping[str, Standing]
) -> Iterator[tuple[Task, Task]]:
    """Yield what a task rests on that was told finished before its own predecessor, with that.

    The task itself is looked at too, and every task that leads to it.
    """
    tasks = {other.id: other for other in job.tasks}
    left, seen = [task], {task.id}
    while left:
        here = left.pop()
        for link in here.after:
            before = tasks[link.task]
            if _is_too_soon(standing.get(here.id), standing.get(before.id), link):
                yield here, before
            if before.id not in seen:
                seen.add(before.id)
                left.append(before)


def _is_too_soon(here: Standing | None, before: Standing | None, link: Link) -> bool:
    if here is None or before is None or here.finished is None:
        return False
    if link.kind is not LinkKind.FINISH_START:
        return False
    if before.finished is None:
        return before.state is not State.DONE
    return before.finished > here.finished
