"""Inventories beside grid files: which field lies at which bytes.

Two public kinds are read: wgrib2's ``.idx`` (``n:offset:d=run:variable:level:time:more``) and the
European Centre's ``.index`` (one JSON object a line with ``_offset`` and ``_length``). Lines are
matched to the rows of ``fields.toml`` by variable, level and interval; duplicates and statistics
that are not wanted (spread, percentiles) are left where they are.
"""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from rules.errors import Faults, WeatherFileFault
from scheduler.weather.grids.messages import FieldRow, field_rows

MOST_FAULTS: Final = 5  # of one inventory; more say nothing new
LINE: Final = re.compile(r"(\d+)(?:\.(\d+))?:(\d+):d=(\d{10,14}):([^:]+):([^:]+):([^:]*):?(.*)")
MOMENT: Final = re.compile(r"(\d+) (hour|min|day) fcst")
INTERVAL: Final = re.compile(r"(\d+)-(\d+) (hour|min|day) (acc|ave|max|min) fcst")
STATISTICS: Final = {"acc": "sum", "ave": "mean", "max": "maximum", "min": "minimum"}
MINUTES: Final = {"min": 1, "hour": 60, "day": 1440}
CHANCE: Final = re.compile(r"prob >([\d.]+)")
PLAIN: Final = re.compile(r"|ens mean|ENS=.*", re.IGNORECASE)
REPLACED: Final = {  # parts that are not fetched where the whole is in the same inventory
    "eastward_wind": "wind_speed_ms",
    "northward_wind": "wind_speed_ms",
}


@dataclass(frozen=True, slots=True)
class Entry:
    """One line: where the field lies and what it is for."""

    number: str
    offset: int
    length: int | None  # None: to the end of the file
    label: str  # as the inventory words it
    row: FieldRow | None
    start: int = 0  # minutes after the run
    end: int = 0
    member: str = ""  # as the inventory words it; "" for a single forecast


def read_inventory(text: str, name: str) -> tuple[Entry, ...]:
    """Read an inventory of either kind.

    Raises
    ------
    Faults
        If it is empty or a line cannot be read; one fault for each of the first few.
    """
    lines = [(n, line.strip()) for n, line in enumerate(text.splitlines(), 1) if line.strip()]
    if not lines:
        want = "want lines number:offset:d=run:variable:level:time"
        raise Faults([WeatherFileFault(name, "content", "empty", want)])
    reader = _json_line if lines[0][1].startswith("{") else _wgrib2_line
    entries: list[Entry] = []
    faults: list[WeatherFileFault] = []
    for line, content in lines:
        entry = reader(content)
        if entry is None:
            want = "want number:offset:d=run:variable:level:time, or JSON with _offset and _length"
            faults.append(WeatherFileFault(name, "line", content[:60], want, line=line))
            if len(faults) == MOST_FAULTS:
                break
        else:
            entries.append(entry)
    if faults:
        raise Faults(faults)
    return _with_lengths(entries, name)


def _with_lengths(entries: Sequence[Entry], name: str) -> tuple[Entry, ...]:
    """Give each entry its length: to the next larger offset, as one message may hold several."""
    offsets = sorted({entry.offset for entry in entries})
    if [e.offset for e in entries] != sorted(e.offset for e in entries) and any(
        e.length is None for e in entries
    ):
        want = "want offsets that rise from line to line"
        raise Faults([WeatherFileFault(name, "offsets", "out of order", want)])
    following = dict(zip(offsets, [*offsets[1:], None], strict=True))
    return tuple(
        entry if entry.length else replace(entry, length=_to(following[entry.offset], entry))
        for entry in entries
    )


def _to(following: int | None, entry: Entry) -> int | None:
    return None if following is None else following - entry.offset


def _wgrib2_line(line: str) -> Entry | None:
    found = LINE.fullmatch(line)
    if found is None:
        return None
    number, part, offset, _, variable, level, when, more = found.groups()
    start, end, statistic = _time(when)
    row = _row(f"{variable}:{level}", statistic, more.rstrip(":"))
    return Entry(
        number=number if part is None else f"{number}.{part}",
        offset=int(offset),
        length=None,
        label=f"{variable}:{level}:{when}" + (f":{more}" if more else ""),
        row=row,
        start=start,
        end=end,
        member=more if more.startswith("ENS=") else "",
    )


def _time(when: str) -> tuple[int, int, str]:
    """Return start and end in minutes and the statistic; an unread form serves no row."""
    if when == "anl":
        return 0, 0, "moment"
    if moment := MOMENT.fullmatch(when):
        minutes = int(moment[1]) * MINUTES[moment[2]]
        return minutes, minutes, "moment"
    if interval := INTERVAL.fullmatch(when):
        unit = MINUTES[interval[3]]
        return int(interval[1]) * unit, int(interval[2]) * unit, STATISTICS[interval[4]]
    return 0, 0, "unknown"


def _row(label: str, statistic: str, more: str) -> FieldRow | None:
    above = None
    if chance := CHANCE.match(more):
        statistic, above = "chance", float(chance[1])
    elif more == "probability forecast":
        statistic = "chance"
    elif not PLAIN.fullmatch(more):
        return None
    for row in field_rows():
        same_limit = row.above is None or (above is not None and abs(row.above - above) < 1e-6)
        if label in row.inventory and row.statistic == statistic and same_limit:
            return row
    return None


def _json_line(line: str) -> Entry | None:
    try:
        told = json.loads(line)
        offset, length = int(told["_offset"]), int(told["_length"])
        parameter, level = str(told["param"]), str(told["levtype"])
        step = str(told.get("step", "0"))
        end = 60 * int(step.rsplit("-", 1)[-1])
    except (ValueError, KeyError, TypeError, AttributeError):
        return None
    if offset < 0 or length <= 0:
        return None
    plain = level == "sfc" and told.get("type", "fc") in ("fc", "cf", "pf")
    row = next((row for row in field_rows() if plain and row.index == parameter), None)
    member = str(told.get("number", "0")) if told.get("type") in ("cf", "pf") else ""
    return Entry("", offset, length, f"{parameter}:{level}:{step}", row, end, end, member)


def wanted(entries: Iterable[Entry], without: Collection[str] = ()) -> tuple[Entry, ...]:
    """Choose what to fetch: for each column its first row, shortest intervals, each field once.

    Parameters
    ----------
    entries
        An inventory's entries.
    without
        Columns that are not needed.
    """
    serving = [
        entry
        for entry in entries
        if entry.row is not None
        and entry.row.column not in without
        and (entry.end > 0 or entry.row.statistic == "moment")  # a sum over no time says nothing
    ]
    first: dict[str, int] = {}
    for entry in serving:
        if entry.row is not None:
            column, rank = entry.row.column, entry.row.rank
            first[column] = min(first.get(column, rank), rank)
    best: dict[tuple[object, ...], Entry] = {}
    for entry in serving:
        row = entry.row
        if row is None or row.rank != first[row.column] or REPLACED.get(row.column) in first:
            continue
        key = (row.rank, entry.end, entry.member)
        kept = best.get(key)
        if kept is None or entry.end - entry.start < kept.end - kept.start:
            best[key] = entry
    return tuple(sorted(best.values(), key=lambda entry: entry.offset))
