"""A task list laid into a job file; the file's other keys and its comments stay."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import Any, Final

from scheduler.jobfile.task_list.columns import BY_NAME, COLUMNS

OWNED: Final = {column.key for column in COLUMNS} - {"amount", "unit", "per_hour"} | {"quantity"}


def merged(job_text: str, tasks: Sequence[dict[str, object]]) -> str:
    """Return the job file with the tasks of the list, in the list's order.

    A task that the file has keeps the keys that no column has (holds, element, appointment). One
    that the list does not have goes; who else names it is told when the result is read.
    """
    yaml = _yaml()
    job: Any = yaml.load(job_text)
    before = {str(task["id"]): task for task in job["tasks"]}
    kept = []
    for task in tasks:
        old = before.get(str(task["id"]))
        if old is None:
            kept.append(dict(task))
            continue
        for key in [key for key in old if key in OWNED and key not in task]:
            del old[key]
        if "quantity" in task:
            old.pop("duration_h", None)
        for key, value in task.items():
            if key not in old or not _same(key, old[key], value):
                old[key] = value
        kept.append(old)
    listed = [str(task["id"]) for task in tasks]
    if listed != list(before):  # in its old order the list stays, and its comments with it
        job["tasks"] = kept
    out = io.StringIO()
    yaml.dump(job, out)
    return out.getvalue()


def _same(key: str, old: object, new: object) -> bool:
    """Tell whether two values read alike in the list: one crew alone or in brackets, a day."""
    if key == "quantity" and isinstance(old, Mapping) and isinstance(new, Mapping):
        return {k: _plain(v) for k, v in old.items()} == {k: _plain(v) for k, v in new.items()}
    column = BY_NAME[key]
    return column.write(old) == column.write(new)


def _plain(value: object) -> object:
    return float(value) if isinstance(value, int | float) else value


def tasks_in(job_text: str) -> list[dict[str, object]]:
    """Return the tasks of a job file as written."""
    job: Any = _yaml().load(job_text)
    return [dict(task) for task in job["tasks"]]


def _yaml() -> Any:
    from ruamel.yaml import YAML

    yaml = YAML()
    yaml.preserve_quotes = True
    yaml.width = 4096  # long lines stay as they were written
    yaml.indent(mapping=2, sequence=4, offset=2)
    return yaml
