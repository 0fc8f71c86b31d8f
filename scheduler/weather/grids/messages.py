"""Choosing the fields that matter, by parameter, level and statistic, never by short name alone.

``fields.toml`` is the list: one row for each way a house column is found in GRIB2 files.
"""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Final

from rules.units import UNITS, convert
from rules.verdict import FloatArray
from scheduler.weather.grids.framing import RawField
from scheduler.weather.grids.grid import Grid, UnknownGrid, grid_of
from scheduler.weather.grids.product import (
    AVERAGE,
    MAXIMUM,
    MEANS_OF_MEMBERS,
    MINIMUM,
    SUM,
    Product,
    UnknownProduct,
    product_of,
)

STATISTICS: Final = {AVERAGE: "mean", SUM: "sum", MAXIMUM: "maximum", MINIMUM: "minimum"}
GRAVITY: Final = 9.80665  # m/s2, standard acceleration; ISO 80000-3
ICE_DENSITY: Final = 917.0  # kg/m3 at 0 degC; CRC Handbook of Chemistry and Physics
# units of grids that the house does not keep: house value = value * factor
GRID_UNITS: Final = {
    "kg m-2 s-1": 3600.0,  # of water: mm in an hour
    "J m-2": 1.0 / 3600.0,  # over an hour: W/m2
    "kg m-2 of ice": 1000.0 / ICE_DENSITY,  # mm thick
    "m of height": 1.0,
    "m2 s-2": 1.0 / GRAVITY,
}


@dataclass(frozen=True, slots=True)
class FieldRow:
    """One way a column is found in a file; ``rank`` counts rows from the first."""

    rank: int
    column: str  # house column, or a part of one: eastward_wind, cell_height, ...
    parameter: tuple[int, int, int]
    levels: tuple[tuple[float, ...], ...]
    statistic: str
    unit: str
    centres: tuple[int, ...] = ()
    above: float | None = None
    note: str = ""
    inventory: tuple[str, ...] = ()
    index: str = ""

    def serves(self, product: Product) -> bool:
        """Tell whether a field is what this row wants."""
        return (
            product.parameter == self.parameter
            and not product.layer
            and (not self.centres or product.centre in self.centres)
            and any(_same_level(product.level, level) for level in self.levels)
            and _statistic(product) == self.statistic
            and _same_limit(product.above, self.above)
        )

    def house(self, values: FloatArray) -> FloatArray:
        """Convert from the file's unit to the house unit."""
        if self.unit in GRID_UNITS:
            return values * GRID_UNITS[self.unit]
        to = {"temperature": "degC", "length": "mm", "share": "%"}.get(UNITS[self.unit][0])
        return convert(values, self.unit, to or self.unit)


def _same_level(have: tuple[int, float | None], want: tuple[float, ...]) -> bool:
    if have[0] != want[0]:
        return False
    return len(want) == 1 or (have[1] is not None and abs(have[1] - want[1]) < 1e-6)


def _same_limit(have: float | None, want: float | None) -> bool:
    return want is None or (have is not None and abs(have - want) < 1e-3)


def _statistic(product: Product) -> str:
    """Return the statistic in words; some producers leave a maximum's or minimum's unsaid."""
    if product.chance:
        return "chance"
    if product.percentile is not None:
        return "percentile"
    if product.derived is not None and product.derived not in MEANS_OF_MEMBERS:
        return "derived"
    if product.start == product.end:
        return "moment"
    if product.statistic is None:
        return {(0, 0, 4): "maximum", (0, 0, 5): "minimum"}.get(product.parameter, "unknown")
    return STATISTICS.get(product.statistic, "unknown")


@cache
def field_rows() -> tuple[FieldRow, ...]:
    """Return the rows of ``fields.toml`` in order."""
    text = resources.files(__package__).joinpath("fields.toml").read_text(encoding="utf-8")
    return tuple(_row(rank, row) for rank, row in enumerate(tomllib.loads(text)["field"]))


def _row(rank: int, row: dict[str, object]) -> FieldRow:
    lists = ("parameter", "centres", "inventory")
    shaped = {key: tuple(value) if key in lists else value for key, value in row.items()}  # type: ignore[arg-type]
    shaped["levels"] = tuple(tuple(level) for level in row["levels"])  # type: ignore[attr-defined]
    return FieldRow(rank=rank, **shaped)  # type: ignore[arg-type]


def row_of(product: Product) -> FieldRow | None:
    """Return the row that a field serves, None where it serves none."""
    return next((row for row in field_rows() if row.serves(product)), None)


@dataclass(frozen=True, slots=True)
class Message:
    """A field that serves a row, with its grid; still packed."""

    row: FieldRow
    product: Product
    grid: Grid
    grid_key: str
    raw: RawField


@dataclass(slots=True)
class Sorting:
    """What became of a file's fields."""

    chosen: list[Message] = field(default_factory=list)
    unused: list[str] = field(default_factory=list)  # meant for something else
    refused: list[str] = field(default_factory=list)  # of a grid that is not read, by name


@cache
def _grid(section: bytes) -> Grid:
    return grid_of(section)


def sort_out(fields: Iterable[RawField]) -> Sorting:
    """Choose the fields that serve a house column; refuse unknown grids by name."""
    sorting = Sorting()
    for raw in fields:
        try:
            grid = _grid(raw.grid)
        except UnknownGrid as error:
            sorting.refused.append(str(error))
            continue
        try:
            product = product_of(raw.discipline, raw.identification, raw.product)
        except UnknownProduct as error:
            sorting.unused.append(str(error))
            continue
        row = row_of(product)
        if row is None:
            sorting.unused.append(str(product))
        else:
            key = hashlib.sha256(raw.grid).hexdigest()
            sorting.chosen.append(Message(row, product, grid, key, raw))
    return sorting


def without_repeats(lines: Iterable[str], most: int = 3) -> Iterator[str]:
    """Yield each line once, then how many more there were."""
    distinct = list(dict.fromkeys(lines))
    yield from distinct[:most]
    if len(distinct) > most:
        yield f"and {len(distinct) - most} more"
