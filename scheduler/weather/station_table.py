"""Station records as comma-separated tables: columns of text, dates in order, units worked out.

Exports of one service come in several units without saying which: whole degrees Fahrenheit,
Celsius, or tenths of Celsius. The highest temperature of a year tells them apart, since no place
where houses are raised stays below 57 °F all year and none passes 57 °C.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.columns import columns
from rules.errors import Faults, WeatherFileFault
from rules.units import convert
from rules.verdict import FloatArray
from scheduler.planning.tables.hours import Finding
from scheduler.weather.json_text import MOST_FAULTS

GAPS: Final = frozenset({"", "NA", "N/A", "NaN", "nan", "M", "null", "-9999", "-9999.0", "9999.9"})
WHOLE_YEAR_D: Final = 330  # days that must be there before a year's highest value tells the unit
UNIT_SETS: Final[Mapping[str, Mapping[str, tuple[str, float]]]] = {  # kind: (unit, factor before)
    "us": {
        "temperature": ("degF", 1.0),
        "water": ("in", 1.0),
        "snow": ("in", 1.0),
        "speed": ("mph", 1.0),
        "share": ("%", 1.0),
    },
    "metric": {
        "temperature": ("degC", 1.0),
        "water": ("mm", 1.0),
        "snow": ("mm", 1.0),
        "speed": ("m/s", 1.0),
        "share": ("%", 1.0),
    },
    "tenths": {  # GHCN-Daily readme: snow is in whole mm, the others in tenths
        "temperature": ("degC", 0.1),
        "water": ("mm", 0.1),
        "snow": ("mm", 1.0),
        "speed": ("m/s", 0.1),
        "share": ("%", 1.0),
    },
}
HOUSE_UNIT: Final = {
    "temperature": "degC",
    "water": "mm",
    "snow": "mm",
    "speed": "m/s",
    "share": "%",
}


@dataclass(frozen=True, slots=True)
class Table:
    """A table as text: a row is a row of the file, a column is found by its header."""

    file: str
    first_line: int  # line of the first row
    heads: tuple[str, ...]
    rows: Sequence[Sequence[str]]

    def texts(self, head: str) -> list[str]:
        """Return the cells of a column, stripped."""
        at = self.heads.index(head)
        return [row[at].strip() for row in self.rows]

    def has(self, *heads: str) -> bool:
        """Tell whether the table has all these columns."""
        return set(heads) <= set(self.heads)


def read_table(text: str, file: str) -> Table:
    """Return a table with its header.

    Raises
    ------
    Faults
        If it has no rows, or a row has another number of cells than the header.
    """
    try:
        rows = [row for row in csv.reader(io.StringIO(text), strict=True) if row]
    except csv.Error as error:
        raise Faults([WeatherFileFault(file, "the file", str(error), "want CSV")]) from error
    if len(rows) < 2:
        raise Faults([WeatherFileFault(file, "the file", f"{len(rows)} rows", "want rows")])
    heads = tuple(head.strip() for head in rows[0])
    odd = [i for i, row in enumerate(rows[1:]) if len(row) != len(heads)]
    if odd:
        want = f"want {len(heads)} as the header has"
        raise Faults(
            WeatherFileFault(file, "the row", f"{len(rows[i + 1])} cells", want, line=i + 2)
            for i in odd[:MOST_FAULTS]
        )
    return Table(file, 2, heads, rows[1:])


def chosen(table: Table, head: str, station: str) -> Table:
    """Return the rows of one station where the table holds several.

    Raises
    ------
    Faults
        If several are there and none is named, or the named one is not there.
    """
    names = table.texts(head)
    there = list(dict.fromkeys(names))
    if len(there) == 1 and not station:
        return table
    if station not in there:
        want = f"name one station of {', '.join(there[:8])}"
        raise Faults([WeatherFileFault(table.file, head, station or None, want)])
    rows = [row for row, name in zip(table.rows, names, strict=True) if name == station]
    return Table(table.file, table.first_line, table.heads, rows)


def days_of(table: Table, head: str) -> NDArray[np.datetime64]:
    """Return the day of each row.

    Raises
    ------
    Faults
        One for each text that is no day.
    """
    return np.array(each(table, head, table.texts(head), _day, "want a day, e.g. 2014-11-09"))


def numbers_of(table: Table, head: str, *, trace: float | None = None) -> FloatArray:
    """Return a column of numbers, NaN for a gap; ``T`` for trace where that can stand.

    Raises
    ------
    Faults
        One for each text that is neither.
    """

    def number(text: str) -> float:
        if text in GAPS:
            return math.nan
        if trace is not None and text.upper() == "T":
            return trace
        if "_" in text:
            raise ValueError(text)
        return float(text)

    texts = table.texts(head)
    try:
        return np.array([math.nan if text in GAPS else text for text in texts], dtype=np.float64)
    except ValueError:
        want = "want a number, or nothing for a gap"
        return np.array(each(table, head, texts, number, want), dtype=np.float64)


def each(
    table: Table, head: str, texts: Iterable[str], read: Callable[[str], object], want: str
) -> list[object]:
    """Return what ``read`` makes of each text.

    Raises
    ------
    Faults
        One for each text that ``read`` refuses with a ValueError, fifty at most.
    """
    out: list[object] = []
    faults: list[WeatherFileFault] = []
    for i, text in enumerate(texts):
        try:
            out.append(read(text))
        except ValueError:
            fault = WeatherFileFault(table.file, head, text, want, line=table.first_line + i)
            faults.append(fault)
            if len(faults) >= MOST_FAULTS:
                break
    if faults:
        raise Faults(faults)
    return out


def _day(text: str) -> np.datetime64:
    digits = text.replace("-", "")[:8]
    if len(digits) != 8 or not digits.isdigit():
        raise ValueError(text)
    return np.datetime64(f"{digits[:4]}-{digits[4:6]}-{digits[6:]}", "D")


def placed(at: NDArray[np.int64], values: FloatArray, count: int) -> tuple[FloatArray, int]:
    """Put values at their places; where one place has two values that differ, a gap.

    Returns the values and how many places were told twice, differently.
    """
    known = np.isfinite(values)
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, at[known], values[known])
    np.maximum.at(high, at[known], values[known])
    return np.where(low == high, low, np.nan), int((low < high).sum())


def unit_set(highest: FloatArray, days: int, stated: str, file: str) -> tuple[str, Finding | None]:
    """Return in which units a record is, from what the highest temperatures look like.

    Parameters
    ----------
    highest
        The daily highs, or all temperatures of an hourly record, as they stand.
    days
        How many days they cover.
    stated
        ``us``, ``metric`` or ``tenths`` where the caller knows.
    file
        For the fault.

    Raises
    ------
    Faults
        If the numbers do not tell.
    """
    if stated:
        return stated, None
    known = highest[np.isfinite(highest)]
    top = float(known.max()) if known.size else math.nan
    possible = columns()["air_temperature_c"].high
    if top > 140.0:
        found, unit = "tenths", "tenths of a degree Celsius"
    elif top > possible:
        found, unit = "us", "degrees Fahrenheit, and inches and miles per hour with them"
    elif days >= WHOLE_YEAR_D:
        found, unit = "metric", "degrees Celsius"
    else:
        want = "too short to tell its units; state them: us, metric or tenths"
        raise Faults([WeatherFileFault(file, "units", None, want)])
    return found, Finding("air_temperature_c", f"taken as {unit}: the highest value is {top:g}")


def in_house_unit(values: FloatArray, kind: str, units: str) -> FloatArray:
    """Return values of a kind (temperature, water, snow, speed, share) in the house's unit."""
    unit, factor = UNIT_SETS[units][kind]
    converted: FloatArray = convert(values * factor, unit, HOUSE_UNIT[kind])
    return converted
