"""Many sites, or a whole grid, from a cube of files: fields by hour, kept as (y, x, time).

Kept that way, a site's series is one short stretch of memory. Where only some sites are wanted,
their cells are picked while each field is decoded, and no cube is held at all.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from rules.columns import columns
from rules.errors import BadInput, Faults, WeatherFileFault
from rules.verdict import FloatArray
from scheduler.planning.tables.hours import HourArray
from scheduler.weather.grids.accumulate import HOUR, plan_hours, settle
from scheduler.weather.grids.cells import Cells, Method, find_cells
from scheduler.weather.grids.cut import WANTED, grid_bytes
from scheduler.weather.grids.decode import Decoder
from scheduler.weather.grids.framing import fields_of
from scheduler.weather.grids.grid import Grid
from scheduler.weather.grids.messages import FieldRow, Message, sort_out, without_repeats

AnyFloat = NDArray[np.floating[Any]]
Take = Callable[[Message], AnyFloat]  # a message's values, of one shape for all messages
WIND: Final = ("eastward_wind", "northward_wind")
SLACK: Final = 0.1  # rounding of packed totals
BLOCK: Final = 32  # rows turned at one time, so that both sides stay in the processor's cache
MOST_BYTES: Final = 12_000_000_000


@dataclass(frozen=True, slots=True)
class Cube:
    """House columns by cell and hour; members of an ensemble lead."""

    grid: Grid
    start: HourArray  # (hours,)
    columns: Mapping[str, AnyFloat]  # (y, x, hours) or (members, y, x, hours)
    members: tuple[tuple[int, int], ...] = ()

    def series(
        self, lat: FloatArray, lon: FloatArray, method: Method = Method.NEAREST
    ) -> dict[str, FloatArray]:
        """Return each column at sites, (sites, hours) or (members, sites, hours); NaN outside."""
        cells = find_cells(self.grid, lat, lon, method)
        return {name: _at_cells(cells, values) for name, values in self.columns.items()}


def _at_cells(cells: Cells, values: AnyFloat) -> FloatArray:
    picked = values[..., cells.rows, cells.columns, :].astype(np.float64)  # (..., k, sites, hours)
    if picked.shape[-3] == 1:
        picked = picked[..., 0, :, :]
        picked[..., ~cells.covered, :] = np.nan
        return picked
    hours_last: FloatArray = np.moveaxis(cells.combine(np.moveaxis(picked, -1, 0)), 0, -1)
    return hours_last


def decode_cube(paths: Sequence[Path], decoder: Decoder, *, only: Collection[str] = ()) -> Cube:
    """Decode a cube of files of one grid and run.

    Parameters
    ----------
    paths
        GRIB2 files in any order.
    decoder
        Decodes field after field.
    only
        House columns wanted; without it, all that the files have.

    Raises
    ------
    Faults, WeatherFileFault
        If a file cannot be used, the fields lie on different grids, or the cube is too large.
    """
    messages = list(_messages(paths, only))
    grid = _one_grid(messages)
    size = 4 * grid.rows * grid.columns * len(messages)
    if size > MOST_BYTES:
        raise BadInput(f"the cube would take {size / 1e9:.1f} GB; name fewer columns or files")

    def take(message: Message) -> AnyFloat:
        values = decoder.values(message.raw.message(), single=True)
        house: AnyFloat = message.row.house(message.grid.arrange(values))
        return house

    start, table, members = _by_hour(messages, take)
    return Cube(grid=grid, start=start, columns=table, members=members)


def series_of_files(
    paths: Sequence[Path],
    lat: FloatArray,
    lon: FloatArray,
    decoder: Decoder,
    *,
    method: Method = Method.NEAREST,
    only: Collection[str] = (),
) -> tuple[HourArray, dict[str, AnyFloat]]:
    """Return hours and columns at sites, (sites, hours) or (members, sites, hours).

    Each field is decoded once and only the sites' cells are kept. Raises what
    :func:`decode_cube` raises, but for the size.
    """
    messages = list(_messages(paths, only))
    cells = find_cells(_one_grid(messages), lat, lon, method)

    def take(message: Message) -> AnyFloat:
        stored = message.grid.stored_at(cells.rows, cells.columns)
        return message.row.house(cells.combine(decoder.values(message.raw.message(), stored)))

    start, table, _ = _by_hour(messages, take)
    return start, table


def _messages(paths: Sequence[Path], only: Collection[str]) -> Iterator[Message]:
    """Yield the messages to use: of each column the newest run, its best row, each field once."""
    wanted = set(only) | (set(WIND) if not only or "wind_speed_ms" in only else set())
    ways: dict[str, dict[tuple[Any, ...], list[Message]]] = defaultdict(dict)
    for path in paths:
        sorting = sort_out(fields_of(grid_bytes(path), path.name))
        if not sorting.chosen:
            said = "; ".join(without_repeats(sorting.refused or sorting.unused))
            raise Faults([WeatherFileFault(path.name, "every field", said, WANTED)])
        for message in sorting.chosen:
            column = message.row.column
            if column in wanted or (not only and column in columns()):
                key = (message.product.reference, -message.row.rank)
                ways[column].setdefault(key, []).append(message)
    if not ways:
        raise BadInput(f"the files have none of the columns {', '.join(sorted(only))}")
    for way in ways.values():
        best = max(way, key=lambda key: (key[0], len(way[key]), key[1]))
        fields = {(m.product.minutes, m.product.member): m for m in reversed(way[best])}
        yield from sorted(fields.values(), key=lambda m: m.product.minutes)


def _one_grid(messages: Iterable[Message]) -> Grid:
    """Return the grid of all messages; they may differ in their scanning only."""
    grids = {message.grid_key: message.grid for message in messages}
    first = next(iter(grids.values()))
    for other in grids.values():
        same_size = (other.rows, other.columns) == (first.rows, first.columns)
        if not same_size or other.plane != first.plane or other.origin != first.origin:
            raise BadInput(f"fields lie on different grids: {first.kind} and {other.kind}")
    return first


def _by_hour(
    messages: Sequence[Message], take: Take
) -> tuple[HourArray, dict[str, AnyFloat], tuple[tuple[int, int], ...]]:
    """Lay all columns on common hours."""
    members = tuple(sorted({m.product.member for m in messages if m.product.member is not None}))
    first = min(m.product.minutes[0] for m in messages) // HOUR
    last = max(_last_hour(*m.product.minutes) for m in messages)
    by_column: dict[str, list[Message]] = defaultdict(list)
    for message in messages:
        by_column[message.row.column].append(message)
    table = {}
    for column, group in by_column.items():
        of = [_column([m for m in group if m.product.member == member], take, first, last)
              for member in (members or (None,))]  # fmt: skip
        table[column] = np.stack(of) if members else of[0]
    _join_wind(table)
    start = np.arange(first, last).astype("datetime64[h]")
    return start, table, members


def _last_hour(start: int, end: int) -> int:
    return -(-max(end, start + 1) // HOUR)


def _column(group: Sequence[Message], take: Take, first: int, last: int) -> AnyFloat:
    """Return one column (..., hours) of one member from its messages."""
    if not group:
        raise BadInput("a member lacks a column that others have; name the columns")
    stack: AnyFloat | None = None
    for number, message in enumerate(group):
        values = take(message)
        if stack is None:
            stack = np.empty((len(group), *values.shape), dtype=values.dtype)
        stack[number] = values
    assert stack is not None
    spans = [message.product.minutes for message in group]
    out = np.empty((*stack.shape[1:], last - first), dtype=stack.dtype)
    lay = _moments if all(a == b for a, b in spans) else _intervals
    turn = lay(group[0].row, spans, first, last)
    for at in range(0, stack.shape[1], BLOCK):
        out[at : at + BLOCK] = turn(np.moveaxis(stack[:, at : at + BLOCK], 0, -1))
    return out


Turn = Callable[[AnyFloat], AnyFloat]  # (..., messages) to (..., hours)


def _moments(row: FieldRow, spans: Sequence[tuple[int, int]], first: int, last: int) -> Turn:
    """Lay moments on their hours; several in one hour by their mean, gusts by the strongest."""
    hours = np.array([start // HOUR - first for start, _ in spans])
    at, begins, counts = np.unique(hours, return_index=True, return_counts=True)
    gust = row.column == "wind_speed_of_gust_ms"

    def turn(values: AnyFloat) -> AnyFloat:
        out = np.full((*values.shape[:-1], last - first), np.nan, dtype=values.dtype)
        if at.size == hours.size == at[-1] - at[0] + 1:
            out[..., at[0] : at[-1] + 1] = values
        elif at.size == hours.size:
            out[..., at] = values
        elif gust:
            out[..., at] = np.maximum.reduceat(values, begins, axis=-1)
        else:
            out[..., at] = np.add.reduceat(values, begins, axis=-1) / counts
        return out

    return turn


def _intervals(row: FieldRow, spans: Sequence[tuple[int, int]], first: int, last: int) -> Turn:
    """Share sums and means out to hours; let maxima and chances hold for each of their hours."""
    if row.statistic not in ("sum", "mean"):
        return _covering(row, spans, first, last)
    plan = plan_hours(spans)
    lengths = np.array([(end - start) / HOUR for start, end in spans])
    factor = lengths if row.statistic == "mean" else np.ones(len(spans))
    at = slice(plan.first_hour - first, plan.first_hour - first + plan.known.size)

    def turn(values: AnyFloat) -> AnyFloat:
        out = np.full((*values.shape[:-1], last - first), np.nan, dtype=values.dtype)
        out[..., at] = settle(plan.apply(values * factor), SLACK)[0]
        return out

    return turn


def _covering(row: FieldRow, spans: Sequence[tuple[int, int]], first: int, last: int) -> Turn:
    closer = np.fmax if row.statistic == "chance" else np.fmin

    def turn(values: AnyFloat) -> AnyFloat:
        out = np.full((*values.shape[:-1], last - first), np.nan, dtype=values.dtype)
        for number, (start, end) in enumerate(spans):
            hours = slice(start // HOUR - first, _last_hour(start, end) - first)
            out[..., hours] = closer(out[..., hours], values[..., number, np.newaxis])
        return out

    return turn


def _join_wind(table: dict[str, AnyFloat]) -> None:
    """Replace the wind's parts by its speed, which no turning of the grid changes, in place."""
    parts = [table.pop(name) for name in WIND if name in table]
    if len(parts) == 2 and "wind_speed_ms" not in table:
        table["wind_speed_ms"] = np.hypot(parts[0], parts[1], out=parts[0])
