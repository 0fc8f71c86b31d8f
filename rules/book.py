"""The rule book: its schema, its reader and the editions.

A **row** is one limit. It says which work it binds, which quantity it looks at, how the quantity
is taken (every hour of the work, or a mean, least, greatest or sum over hours around it), and
from low values to high what each band allows and asks for. Rows stand in ``rules/book/rows/``,
one file for a family of work, in units and words a mason reads. Adding a limit is one ``[[row]]``.

Who reads what
--------------
``load_book(edition)``       the rows of one edition, checked; all faults are told at once
``Book.rows_for(work_type)`` the rows that bind a kind of work
``Book.orders_for(...)``     which work comes before which
``measures()``               what each measure does, needs and endangers
``sources()``                where a row's number comes from

Words of a row
--------------
``quantity``   a weather column by its plain name (``air_temperature``), ``module.function`` of
               columns (``air.wind_chill``), something read on site (``unit_core_temperature``), a
               fact (``scaffold.ice_on_top``), or nothing: then the row always holds.
``taken_as``   ``value``: each hour of the work on its own, or the reading; else an aggregate
               over ``hours``, whose ends are ``start``, ``end``, ``now``, ``day_start``,
               ``day_end`` or ``forecast_end``, with hours added: ``end+48h``.
``bands``      from low to high; each but the last says ``up_to``. The edge belongs to the band
               above unless ``edge = "below"``. Facts use ``is`` in place of ``up_to``.
``sets``       the sets of rows it is part of; an edition of ``editions.toml`` names its sets.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any, Final, TypeVar

from pydantic import ValidationError

from rules.book_rows import (
    Asks,
    Band,
    BookFile,
    Condition,
    Edition,
    Hold,
    Measure,
    Need,
    Order,
    Part,
    Row,
    Source,
    Span,
    Substitute,
    Tell,
)
from rules.book_words import Held, Stranger, strangers_in_order, strangers_in_row
from rules.errors import BookFault, CloseinError, Faults
from rules.moments import Moment
from rules.words import nearest

__all__ = [
    "Asks", "Band", "Book", "Condition", "Edition", "Hold", "Measure", "Moment", "Need", "Order",
    "Row", "Source", "Span", "Substitute", "Tell", "all_rows", "editions", "load_book", "measures",
    "read_rows", "sources",
]  # fmt: skip
DEFAULT_EDITION: Final = "tms602-2016"
AnyPart = TypeVar("AnyPart", bound=Part)
Entry = TypeVar("Entry", Row, Order)


@dataclass(frozen=True, slots=True)
class Book:
    """The rows of one edition."""

    edition: str
    name: str
    rows: tuple[Row, ...]
    orders: tuple[Order, ...] = ()
    _by_work: Mapping[str, tuple[Row, ...]] = field(
        default_factory=dict, repr=False, compare=False
    )

    def __post_init__(self) -> None:
        by_work: dict[str, list[Row]] = {}
        for row in self.rows:
            for work_type in row.work_types:
                by_work.setdefault(work_type, []).append(row)
        object.__setattr__(self, "_by_work", {k: tuple(v) for k, v in by_work.items()})

    def rows_for(self, work_type: str) -> tuple[Row, ...]:
        """Return the rows that bind a kind of work, in the book's order."""
        return self._by_work.get(work_type, ())

    def row(self, row_id: str) -> Row:
        """Return the row of that id; KeyError where this edition has none."""
        for row in self.rows:
            if row.id == row_id:
                return row
        raise KeyError(row_id)

    def orders_for(self, *, before: str | None = None, after: str | None = None) -> list[Order]:
        """Return the order rows that name these kinds of work."""
        return [o for o in self.orders if before in (None, o.before) and after in (None, o.after)]


def _text(name: str) -> str:
    return resources.files("rules").joinpath(f"book/{name}").read_text(encoding="utf-8")


def _faults(file: str, row: str, error: ValidationError) -> list[CloseinError]:
    out: list[CloseinError] = []
    for found in error.errors():
        place = ".".join(str(step) for step in found["loc"])
        value = None if place == "" else found["input"]
        want = found["msg"].removeprefix("Value error, ")
        out.append(BookFault(file, f"{row} {place}".strip(), value, want))
    return out


def read_table(file: str, text: str, model: type[AnyPart]) -> dict[str, AnyPart]:
    """Read a file of named tables: sources, measures, editions.

    Raises
    ------
    Faults
        Every fault of the file, each with the name it is under.
    """
    out: dict[str, AnyPart] = {}
    faults: list[CloseinError] = []
    for key, raw in tomllib.loads(text).items():
        try:
            out[key] = model.model_validate(raw)
        except ValidationError as error:
            faults += _faults(file, key, error)
    if faults:
        raise Faults(faults)
    return out


def _table(file: str, model: type[AnyPart]) -> dict[str, AnyPart]:
    return read_table(file, _text(file), model)


@cache
def sources() -> dict[str, Source]:
    """Return every source by its key."""
    return _table("sources.toml", Source)


@cache
def measures() -> dict[str, Measure]:
    """Return every measure by its name."""
    return _table("measures.toml", Measure)


@cache
def editions() -> dict[str, Edition]:
    """Return every edition a job may cite."""
    return _table("editions.toml", Edition)


def _held() -> Held:
    return Held(
        measures=frozenset(measures()),
        sources=frozenset(sources()),
        sets=frozenset(name for edition in editions().values() for name in edition.sets),
    )


def read_rows(file: str, text: str) -> tuple[list[Row], list[Order]]:
    """Read one file of rows.

    Raises
    ------
    Faults
        Every fault of the file, each with the row it is in.
    """
    try:
        page = BookFile.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise Faults([BookFault(file, "text", None, f"is no TOML: {error}")]) from error
    except ValidationError as error:
        raise Faults(_faults(file, "", error)) from error
    common = {"sets": page.sets, "source": page.source, "verify": page.verify}
    raws = [{**raw, "work_types": _work_types(raw.get("work_types", ()))} for raw in page.row]
    faults: list[CloseinError] = []
    rows = _each(file, raws, common, Row, faults)
    orders = _each(file, page.order, common, Order, faults)
    held = _held()
    for row in rows:
        faults += [_fault(file, row.id, found) for found in strangers_in_row(row, held)]
    for order in orders:
        faults += [_fault(file, order.id, found) for found in strangers_in_order(order, held)]
    if faults:
        raise Faults(faults)
    return rows, orders


def _fault(file: str, row: str, found: Stranger) -> BookFault:
    return BookFault(file, f"{row} {found.field}", found.value, found.want)


@cache
def groups() -> dict[str, tuple[str, ...]]:
    """Return the kinds of work that a row means by a name such as ``@outdoors``."""
    return {name: tuple(kinds) for name, kinds in tomllib.loads(_text("groups.toml")).items()}


def _work_types(said: object) -> tuple[str, ...]:
    names = [said] if isinstance(said, str) else said if isinstance(said, list) else []
    kinds = [
        kind
        for name in names
        for kind in (groups().get(str(name)[1:], (name,)) if str(name)[:1] == "@" else (name,))
    ]
    return tuple(dict.fromkeys(map(str, kinds)))


def _each(
    file: str,
    raws: Iterable[Mapping[str, Any]],
    common: Mapping[str, object],
    model: type[Entry],
    faults: list[CloseinError],
) -> list[Entry]:
    out: list[Entry] = []
    for raw in raws:
        try:
            out.append(model.model_validate({**common, **raw}))
        except ValidationError as error:
            faults += _faults(file, str(raw.get("id", "row without id")), error)
    return out


def read_bands(row: Row, raws: Iterable[Mapping[str, Any]]) -> tuple[Band, ...]:
    """Read bands that stand in for a row's own, as the book's files write them.

    Raises
    ------
    Faults
        Every fault of them.
    """
    faults: list[CloseinError] = []
    bands: list[Band] = []
    for raw in raws:
        try:
            bands.append(Band.model_validate(dict(raw)))
        except ValidationError as error:
            faults += _faults("override", row.id, error)
    if faults:
        raise Faults(faults)
    return tuple(bands)


def replaced(row: Row, changes: Mapping[str, object]) -> Row:
    """Return a row with other parts, checked like a row that was read.

    Raises
    ------
    Faults
        If the row no longer makes sense.
    """
    parts = {name: getattr(row, name) for name in Row.model_fields}
    try:
        new = Row.model_validate({**parts, **changes})
    except ValidationError as error:
        raise Faults(_faults("override", row.id, error)) from error
    found = [_fault("override", row.id, stranger) for stranger in strangers_in_row(new, _held())]
    if found:
        raise Faults(found)
    return new


@cache
def all_rows() -> tuple[tuple[Row, ...], tuple[Order, ...]]:
    """Return every row and order of every edition, checked.

    Raises
    ------
    Faults
        Every fault of every file.
    """
    rows: list[Row] = []
    orders: list[Order] = []
    faults: list[CloseinError] = []
    folder = resources.files("rules").joinpath("book/rows")
    for file in sorted(folder.iterdir(), key=lambda item: item.name):
        try:
            more, order = read_rows(f"rows/{file.name}", file.read_text(encoding="utf-8"))
        except Faults as error:
            faults += error.faults
            continue
        rows += more
        orders += order
    faults += _twice([*(row.id for row in rows), *(order.id for order in orders)])
    if faults:
        raise Faults(faults)
    return tuple(rows), tuple(orders)


def _twice(ids: list[str]) -> list[CloseinError]:
    seen: set[str] = set()
    out: list[CloseinError] = []
    for row_id in ids:
        if row_id in seen:
            out.append(BookFault("rows", row_id, None, "an id stands for one row only"))
        seen.add(row_id)
    return out


def load_book(edition: str = DEFAULT_EDITION) -> Book:
    """Return the rows of one edition.

    Raises
    ------
    BookFault
        If no edition has that name.
    Faults
        Every fault of the book.
    """
    known = editions().get(edition)
    if known is None:
        near = nearest(edition, editions())
        want = f"use one of {', '.join(editions())}" + (f"; did you mean {near}" if near else "")
        raise BookFault("editions.toml", "book", edition, want)
    rows, orders = all_rows()
    held = frozenset(known.sets)
    return Book(
        edition=edition,
        name=known.name,
        rows=tuple(row for row in rows if held.intersection(row.sets)),
        orders=tuple(order for order in orders if held.intersection(order.sets)),
    )
