"""``closein tasks``: the task list out to a spreadsheet, and back into the job file."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from scheduler.commands.options import JobFile


def tasks(
    job: JobFile,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write the task list as CSV.")
    ] = None,
    read: Annotated[
        Path | None, typer.Option("--read", metavar="FILE", help="Lay a CSV list into the job.")
    ] = None,
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FILE", help="The job file to write.")
    ] = None,
) -> None:
    """Write the task list for a spreadsheet, or read one back (columns: TASKLIST.md)."""
    import scheduler.jobfile
    from rules.errors import BadInput
    from scheduler.jobfile.task_list.merge import merged, tasks_in
    from scheduler.jobfile.task_list.sheet import sheet_of, tasks_of
    from scheduler.output.files import write_file
    from scheduler.startup import text_of

    raw = text_of(job)
    before = scheduler.jobfile.parse(raw, file=str(job))
    text = raw.decode("utf-8-sig")
    if read is None:
        listed = sheet_of(tasks_in(text))
        if out is None:
            sys.stdout.write(listed)
            return
        write_file(out, listed)
        sys.stdout.write(f"wrote {out}: {len(before.tasks)} tasks\n")
        return
    if to is None:
        raise BadInput("--read needs --to FILE: the job file to write; it may be the same one")
    found = tasks_of(text_of(read), file=str(read), us=before.units == "us")
    made = merged(text, found)
    after = scheduler.jobfile.parse(made, file=str(to))
    write_file(to, made)
    old, new = ({task.id for task in one.tasks} for one in (before, after))
    sys.stdout.write(
        f"wrote {to}: {len(after.tasks)} tasks, {len(new - old)} new, {len(old - new)} gone\n"
    )
