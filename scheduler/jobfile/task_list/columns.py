"""The columns of a task list: names they go by, and how a cell is read; faults name the cell."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Final

from rules.words import meant, words
from scheduler.jobfile.task_list.links import links_of, links_text

Cell = object
WORKDAY_H: Final = 8.0  # of `1.5 days`, where a list counts in days
TRUE: Final = {"yes", "y", "true", "x", "1", "ja", "oui"}
FALSE: Final = {"no", "n", "false", "", "0", "nein", "non"}
MONTHS: Final = [
    "jan",
    "feb",
    "mar",
    "apr",
    "may",
    "jun",
    "jul",
    "aug",
    "sep",
    "oct",
    "nov",
    "dec",
]
TIMED: Final = re.compile(r"(.*?)(?:T|,?\s+)(\d{1,2}[:.]\d{2}\s*(?:[ap]m)?)", re.IGNORECASE)
STATES: Final = {
    "": "to_do", "to do": "to_do", "todo": "to_do", "open": "to_do", "planned": "to_do",
    "under way": "under_way", "started": "under_way", "doing": "under_way",
    "done": "done", "finished": "done", "complete": "done", "completed": "done",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Column:
    """One column: the key of the job file, what else people call it, how a cell is read."""

    key: str
    known_as: tuple[str, ...]
    read: Callable[[str, bool], Cell]  # text, US order of dates
    write: Callable[[object], str]


def _text(text: str, _: bool) -> Cell:
    return text


def _slug(text: str, _: bool) -> Cell:
    found = re.sub(r"[^A-Za-z0-9_-]+", "_", text).strip("_")
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9_-]{0,39}", found):
        raise ValueError("want a short name that begins with a letter")
    return found


def _slugs(text: str, _: bool) -> Cell:
    return [_slug(part.strip(), False) for part in re.split(r"[;,|]", text) if part.strip()]


def _work_type(text: str, _: bool) -> Cell:
    known = words().work_types
    name = re.sub(r"[\s-]+", "_", text.strip().lower())
    if name in known:
        return name
    raise ValueError(f"no work type of the rule book; {meant(name, known)}")


def _hours(text: str, _: bool) -> Cell:
    found = re.fullmatch(
        r"(\d+(?:[.,]\d+)?)\s*(h|hr|hrs|hours?|d|days?|min|minutes?)?\.?", text.strip(), re.I
    )
    if found is None:
        raise ValueError("want hours such as 6, 6 h, 90 min or 1.5 days")
    value, unit = float(found[1].replace(",", ".")), (found[2] or "h").lower()
    factor = WORKDAY_H if unit.startswith("d") else 1 / 60 if unit.startswith("m") else 1.0
    if value <= 0:
        raise ValueError("want hours above 0")
    return round(value * factor, 4)


def _number(text: str, _: bool) -> Cell:
    if not re.fullmatch(r"\d+(?:[.,]\d+)?", text.strip()):
        raise ValueError("want a number")
    return float(text.strip().replace(",", "."))


def _yes(text: str, _: bool) -> Cell:
    if text.strip().lower() in TRUE:
        return True
    if text.strip().lower() in FALSE:
        return False
    raise ValueError("want yes or no")


def _state(text: str, _: bool) -> Cell:
    name = text.strip().lower().replace("_", " ")
    if name not in STATES:
        raise ValueError("want to do, under way or done")
    return STATES[name]


def _moment(text: str, us: bool) -> Cell:
    """Read a day, or a day and a time, as people write them; kept as the job file has it."""
    timed = TIMED.fullmatch(text.strip())
    day, clock = (timed[1], timed[2]) if timed else (text.strip(), "")
    told = _day(day.strip().rstrip(","), us)
    if not clock:
        return told.isoformat()
    hour, minute = (int(part) for part in re.findall(r"\d+", clock))
    if clock.lower().endswith("m"):  # the clock of twelve hours: 12 am is midnight
        hour = hour % 12 + (12 if clock.lower().endswith("pm") else 0)
    try:
        return f"{told}T{time(hour, minute):%H:%M}"
    except ValueError:
        raise ValueError("want a time such as 08:00") from None


def _day(text: str, us: bool) -> date:
    want = "want a day such as 2026-11-20, 20 Nov 2026 or " + (
        "11/20/2026" if us else "20.11.2026"
    )
    iso = re.fullmatch(r"(\d{4})-(\d{1,2})-(\d{1,2})", text)
    named = re.fullmatch(r"(\d{1,2})\.?\s+([A-Za-z]{3})[a-z]*\.?\s+(\d{4})", text)
    named_us = re.fullmatch(r"([A-Za-z]{3})[a-z]*\.?\s+(\d{1,2}),?\s+(\d{4})", text)
    digits = re.fullmatch(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4})", text)
    if iso:
        year, month, number = (int(part) for part in iso.groups())
    elif named and named[2].lower() in MONTHS:
        year, month, number = int(named[3]), MONTHS.index(named[2].lower()) + 1, int(named[1])
    elif named_us and named_us[1].lower() in MONTHS:
        year, number = int(named_us[3]), int(named_us[2])
        month = MONTHS.index(named_us[1].lower()) + 1
    elif digits:
        first, second, year = int(digits[1]), int(digits[3]), int(digits[4])
        month, number = (first, second) if us and digits[2] == "/" else (second, first)
    else:
        raise ValueError(want)
    try:
        return date(year, month, number)
    except ValueError:
        raise ValueError(want) from None


def _links(text: str, _: bool) -> Cell:
    return links_of(text)


def _plain(value: object) -> str:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return f"{float(value):g}"
    return str(value)


def _when(value: object) -> str:
    """Return a day or a moment as the job file has it."""
    if isinstance(value, datetime):
        return value.isoformat("T", "minutes")
    return value.isoformat() if isinstance(value, date) else str(value)


def _joined(value: object) -> str:
    return "; ".join(map(str, value)) if isinstance(value, list | tuple) else str(value)


def _said(value: object) -> str:
    return "yes" if value else "no"


COLUMNS: Final[tuple[Column, ...]] = (
    Column("id", ("task id", "no", "nr", "number", "key"), _slug, _plain),
    Column("name", ("task", "task name", "what", "description", "activity"), _text, _plain),
    Column("work_type", ("work", "type", "kind of work"), _work_type, _plain),
    Column("duration_h", ("hours", "duration", "duration hours", "h", "time"), _hours, _plain),
    Column("amount", ("quantity", "qty", "count"), _number, _plain),
    Column("unit", ("units", "uom"), _text, _plain),
    Column("per_hour", ("rate", "output", "per hour"), _number, _plain),
    Column("crew", ("who", "crews", "trade", "resource", "resources"), _slugs, _joined),
    Column("after", ("predecessors", "predecessor", "depends on"), _links, links_text),
    Column("may_pause", ("pause", "may pause overnight", "splittable"), _yes, _said),
    Column("not_before", ("earliest", "earliest start", "start no earlier"), _moment, _when),
    Column("opens", ("opens parts",), _slugs, _joined),
    Column("closes", ("closes parts",), _slugs, _joined),
    Column("state", ("status",), _state, _plain),
    Column("finished", ("finish", "finished at", "done on"), _moment, _when),
    Column("hours_left", ("left", "remaining", "remaining hours"), _hours, _plain),
    Column("place", ("where", "location"), _text, _plain),
)  # fmt: skip
BY_NAME: Final[Mapping[str, Column]] = {
    name: column for column in COLUMNS for name in (column.key, *column.known_as)
}


def column_of(title: str) -> Column | None:
    """Return the column that a title means, whatever its case, signs and spaces; None: unknown."""
    plain = re.sub(r"[^a-z0-9]+", " ", title.lower()).strip()
    return BY_NAME.get(plain) or BY_NAME.get(plain.replace(" ", "_"))
