"""A task list as CSV: read into tasks of a job file, and written from them."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from rules.errors import Faults, FileFault
from rules.text import strange_in
from scheduler.jobfile.task_list.columns import COLUMNS, Column, column_of

# What a spreadsheet would take for a formula gets an apostrophe, and loses it again when read.
FORMULA: Final = ("=", "+", "-", "@")
MOST_ROWS: Final = 1000
LETTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
QUANTITY: Final = ("amount", "unit", "per_hour")


def tasks_of(raw: bytes, *, file: str, us: bool) -> list[dict[str, object]]:
    """Return the tasks of a list, keys as the job file has them.

    Parameters
    ----------
    raw
        CSV with a header; commas, semicolons or tabs; UTF-8, a byte order mark or not.
    file
        What faults call it.
    us
        Days with slashes are month first.

    Raises
    ------
    Faults
        Every cell that cannot be read, by row and column.
    """
    rows = _rows(raw, file)
    columns, faults = _header(rows[0][1] if rows else [], file)
    if faults:
        raise Faults(faults)
    tasks: list[dict[str, object]] = []
    for number, cells in rows[1:]:
        task, wrong = _task(columns, cells, number, file, us=us)
        faults += wrong
        tasks.append(task)
    if not tasks and not faults:
        faults.append(FileFault(file, "rows", 0, "want a header and a row for each task"))
    if len(tasks) > MOST_ROWS:
        faults.append(FileFault(file, "rows", len(tasks), f"want at most {MOST_ROWS}"))
    if faults:
        raise Faults(faults)
    return tasks


def sheet_of(tasks: Sequence[Mapping[str, object]]) -> str:
    """Return tasks of a job file as CSV; keys without a column are not in it."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow([column.key for column in COLUMNS])
    for task in tasks:
        flat = dict(task)
        amount = flat.get("quantity")
        if isinstance(amount, Mapping):
            flat |= {key: amount[key] for key in QUANTITY if key in amount}
        writer.writerow([_cell(column, flat.get(column.key)) for column in COLUMNS])
    return out.getvalue()


def _cell(column: Column, value: object) -> str:
    if value is None or value == []:
        return ""
    text = column.write(value)
    return f"'{text}" if text.startswith(FORMULA) else text


def _rows(raw: bytes, file: str) -> list[tuple[int, list[str]]]:
    """Return the rows that are not empty, each with its number in the file."""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        told = FileFault(file, "text", f"byte {error.start}", "save it as UTF-8")
        raise Faults([told]) from error
    head = next(iter(text.splitlines()), "")
    sign = max(",;\t", key=head.count)
    # line ends of any system: a lone carriage return is one too, of an old table
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=sign)
    try:
        rows = list(enumerate(reader, 1))
    except csv.Error as error:
        told = FileFault(file, "the row", str(error), "save it as CSV", line=reader.line_num)
        raise Faults([told]) from error
    return [(number, row) for number, row in rows if any(cell.strip() for cell in row)]


def _header(cells: list[str], file: str) -> tuple[list[Column | None], list[FileFault]]:
    """Return the column of each cell; None for one that nobody knows and that is left aside."""
    columns = [column_of(cell) for cell in cells]
    named = [column.key for column in columns if column is not None]
    faults = [
        FileFault(file, "header", key, "this column is there twice", line=1)
        for key in dict.fromkeys(named)
        if named.count(key) > 1
    ]
    if "work_type" not in named or not {"id", "name"} & set(named):
        want = "want columns id or name, and work_type; known: " + ", ".join(
            c.key for c in COLUMNS
        )
        faults.append(FileFault(file, "header", ", ".join(cells), want, line=1))
    return columns, faults


def _task(
    columns: Sequence[Column | None], cells: Sequence[str], number: int, file: str, *, us: bool
) -> tuple[dict[str, object], list[FileFault]]:
    task: dict[str, object] = {}
    faults = []
    for place, (column, cell) in enumerate(zip(columns, cells, strict=False)):
        text = cell.strip().removeprefix("'")
        if column is None or not text:
            continue
        try:
            strange = strange_in(text)
            if strange:
                raise ValueError(f"take out {strange}, no name has it")
            task[column.key] = column.read(text, us)
        except ValueError as error:
            field = f"cell {_letter(place)}{number} ({column.key})"
            faults.append(FileFault(file, field, text, str(error), line=number))
    if "id" not in task and "name" in task:
        made = column_of("id")
        assert made is not None
        try:
            task["id"] = made.read(str(task["name"])[:30].lower(), us)
        except ValueError as error:
            faults.append(FileFault(file, f"row {number}", task["name"], str(error), line=number))
    faults += _missing(task, number, file)
    return _folded(task), faults


def _missing(task: Mapping[str, object], number: int, file: str) -> Iterator[FileFault]:
    if "work_type" not in task:
        yield FileFault(file, f"row {number}", "no work_type", "say the kind of work", line=number)
    if "id" not in task:
        yield FileFault(file, f"row {number}", "no id or name", "give one", line=number)


def _folded(task: dict[str, object]) -> dict[str, object]:
    """Return a task with amount, unit and rate in one key, and no state where it is to do."""
    amount = {key: task.pop(key) for key in QUANTITY if key in task}
    if amount:
        task["quantity"] = amount
    if task.get("state") == "to_do":
        task.pop("state")
    if task.get("may_pause") is False:
        task.pop("may_pause")
    return task


def _letter(place: int) -> str:
    name = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, len(LETTERS))
        name = LETTERS[rest] + name
    return name
