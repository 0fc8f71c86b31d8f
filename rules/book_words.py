"""Which names in the book stand nowhere: work, quantity, measure, check, role, source, set."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from rules.book_rows import Asks, Condition, Order, Row
from rules.quantities import is_fact, problem
from rules.words import nearest, words


@dataclass(frozen=True, slots=True)
class Held:
    """The names that other tables of the book give."""

    measures: frozenset[str]
    sources: frozenset[str]
    sets: frozenset[str]


@dataclass(frozen=True, slots=True)
class Stranger:
    """A name that stands nowhere: where it is written and what would be right."""

    field: str
    value: str | None  # None: the row lacks something
    want: str


def strangers_in_row(row: Row, held: Held) -> list[Stranger]:
    """Return every name of a row that nothing else in the book gives."""
    out = list(_unknown("work_types", row.work_types, words().work_types))
    if row.quantity:
        unit = row.counted.unit if row.counted is not None else row.unit
        out += _quantity("quantity", row.quantity, "" if is_fact(row.quantity) else unit)
    for substitute in row.substitutes:
        out += _quantity("substitutes", substitute.quantity, substitute.unit or row.unit)
    for condition in _conditions(row):
        out += _condition(condition)
    for part in (row, *row.bands):
        out += _asked(part, held)
    return [*out, *_origin(row, held)]


def strangers_in_order(order: Order, held: Held) -> list[Stranger]:
    """Return every name of an order row that nothing else in the book gives."""
    out = list(_unknown("before, after", (order.before, order.after), words().work_types))
    for condition in (*order.when, *order.unless):
        out += _condition(condition)
    return [*out, *_origin(order, held)]


def _asked(part: Asks, held: Held) -> Iterator[Stranger]:
    known = words()
    named = [name for need in part.measures for name in need.measure]
    yield from _unknown("measures", named, frozenset(known.measures) & held.measures)
    yield from _unknown("checks", part.checks, known.checks)
    yield from _unknown("cautions", part.cautions, known.cautions)
    yield from _unknown("holds", (by for hold in part.holds for by in hold.by), known.roles)
    yield from _unknown("tells", (who for tell in part.tells for who in tell.whom), known.roles)


def _conditions(row: Row) -> list[Condition]:
    parts = (row, *row.bands)
    found = [*row.when, *row.unless, *(target for part in parts for target in part.targets)]
    found += [c for part in parts for need in part.measures for c in (*need.when, *need.unless)]
    return found + [c for c in (row.recovers_when, row.counted) if c is not None]


def _condition(condition: Condition) -> Iterator[Stranger]:
    if not is_fact(condition.what):
        yield from _quantity("condition", condition.what, condition.unit)


def _quantity(field: str, name: str, unit: str) -> Iterator[Stranger]:
    wrong = problem(name, unit)
    if wrong:
        yield Stranger(field, name, wrong)


def _origin(part: Row | Order, held: Held) -> Iterator[Stranger]:
    yield from _unknown("source", (part.source,), held.sources)
    yield from _unknown("sets", part.sets, held.sets)
    if not part.clause:
        yield Stranger("clause", None, "give the clause, table or page")


def _unknown(field: str, names: Iterable[str], known: Iterable[str]) -> Iterator[Stranger]:
    found = frozenset(known)
    for name in names:
        if name not in found:
            near = nearest(name, found)
            yield Stranger(field, name, f"did you mean {near}" if near else "is not known")
