"""Times as loggers write them: where they stand in a row, and which part is the day."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

from rules.errors import Faults, WeatherFileFault

_DATE: Final = r"(?P<a>\d{1,4})(?P<sep>[-/.])(?P<b>\d{1,2})(?P=sep)(?P<c>\d{1,4})"
_HALF: Final = r"(?P<half>[AaPp]\.?[Mm]\.?)?"
_TIME: Final = rf"(?P<h>\d{{1,2}}):(?P<m>\d{{2}})(?::(?P<s>\d{{2}})(?:[.,]\d+)?)?\s*{_HALF}"
_OFFSET: Final = r"\s*(?P<offset>Z|UTC|GMT|[+-]\d{2}:?\d{2})?"
_ONE: Final = re.compile(rf"\s*{_DATE}[T\s,]+{_TIME}{_OFFSET}\s*")
_DAY: Final = re.compile(rf"\s*{_DATE}\s*")
_CLOCK: Final = re.compile(rf"\s*{_TIME}{_OFFSET}\s*")


@dataclass(frozen=True, slots=True)
class Written:
    """One time as written: three parts of the date, the clock, and an offset where it has one."""

    date: tuple[int, int, int]
    year_first: bool
    dotted: bool
    clock: timedelta
    offset: timedelta | None


def is_time(cells: Sequence[str]) -> bool:
    """Tell whether a cell, or a date and a time beside it, is a time."""
    return _written(cells) is not None


def time_columns(rows: Sequence[Sequence[str]]) -> tuple[int, ...] | None:
    """Return the columns that hold the time in most rows: one, or a date and a time beside it."""
    width = max((len(row) for row in rows), default=0)
    firsts = range(min(width, 4))  # a running number may stand before it
    tried = [columns for c in firsts for columns in ((c,), (c, c + 1)) if columns[-1] < width]
    read = {columns: _count(rows, columns) for columns in tried}
    best = max(tried, key=lambda columns: (read[columns], -len(columns)), default=None)
    return best if best is not None and read[best] else None


def _count(rows: Sequence[Sequence[str]], columns: tuple[int, ...]) -> int:
    return sum(is_time([row[c] for c in columns]) for row in rows if len(row) > columns[-1])


def times_of(cells: Sequence[Sequence[str]], file: str) -> list[datetime]:
    """Return the times of all rows, naive on the logger's clock or aware where an offset stands.

    Raises
    ------
    Faults
        If day and month cannot be told apart, or a date does not exist.
    """
    written = [_written(row) for row in cells]
    known = [one for one in written if one is not None]
    order = _order(known, file)
    out = []
    for one in known:
        try:
            out.append(_moment(one, order))
        except ValueError as error:
            text = "-".join(str(part) for part in one.date)
            raise Faults([WeatherFileFault(file, "time", text, str(error))]) from error
    return out


def _written(cells: Sequence[str]) -> Written | None:
    if len(cells) == 1:
        found = _ONE.fullmatch(cells[0])
        if found is None:
            return None
        day = clock = found
    else:
        first, second = _DAY.fullmatch(cells[0]), _CLOCK.fullmatch(cells[1])
        if first is None or second is None:
            return None
        day, clock = first, second
    hour = int(clock["h"])
    half = (clock["half"] or "")[:1].lower()
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    if hour > 24 or int(clock["m"]) > 59:
        return None
    since = timedelta(hours=hour, minutes=int(clock["m"]), seconds=int(clock["s"] or 0))
    parts = (int(day["a"]), int(day["b"]), int(day["c"]))
    return Written(parts, len(day["a"]) == 4, day["sep"] == ".", since, _offset(clock["offset"]))


def _offset(text: str | None) -> timedelta | None:
    if text is None:
        return None
    if text in ("Z", "UTC", "GMT"):
        return timedelta(0)
    digits = text[1:].replace(":", "")
    length = timedelta(hours=int(digits[:2]), minutes=int(digits[2:]))
    return -length if text[0] == "-" else length


def _order(written: Sequence[Written], file: str) -> tuple[int, int, int]:
    """Return where year, month and day stand in a date."""
    if written[0].year_first:
        return 0, 1, 2
    if written[0].dotted:
        return 2, 1, 0
    first, second = (max(one.date[part] for one in written) for part in (0, 1))
    if first > 12 >= second:
        return 2, 1, 0
    if second > 12 >= first:
        return 2, 0, 1
    spans = {order: _span(written, order) for order in ((2, 0, 1), (2, 1, 0))}
    short, long = sorted(spans, key=lambda order: spans[order])
    if spans[short] * 4 > spans[long]:
        text = "/".join(str(part) for part in written[0].date)
        want = "day and month cannot be told apart; write dates as 2026-11-09"
        raise Faults([WeatherFileFault(file, "time", text, want)])
    return short


def _span(written: Sequence[Written], order: tuple[int, int, int]) -> float:
    """Return the seconds from the first to the last row in one reading of the dates."""
    try:
        moments = [_moment(one, order).replace(tzinfo=UTC) for one in written]
    except ValueError:
        return float("inf")
    return (max(moments) - min(moments)).total_seconds() + 1.0


def _moment(one: Written, order: tuple[int, int, int]) -> datetime:
    year, month, day = (one.date[part] for part in order)
    year += 2000 if year < 100 else 0
    plain = datetime(year, month, day) + one.clock  # noqa: DTZ001 - the logger's own clock
    return plain if one.offset is None else (plain - one.offset).replace(tzinfo=UTC)
