"""Which names in the book stand nowhere: work, quantity, measure, check, role, source, set."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from rules.book_rows import Condition, Order, Row
from rules.quantities import is_fact, problem
from rules.words import words


@dataclass(frozen=True, slots=True)
class Held:
    """The names that other tables of the book give."""

    measures: frozenset[str]
    sources: frozenset[str]
    sets: frozenset[str]


def unknown_words(row: Row, held: Held) -> list[str]:
    """Say which names of a row stand nowhere: work, quantity, measure, check, role, source."""
    known = words()
    out = _strangers("work type", row.work_types, known.work_types)
    if row.quantity:
        out += [problem(row.quantity, "" if is_fact(row.quantity) else _own_unit(row))]
    out += [problem(sub.quantity, sub.unit or row.unit) for sub in row.substitutes]
    out += [_condition_problem(c) for c in _conditions(row)]
    for part in (row, *row.bands):
        asked = [name for need in part.measures for name in need.measure]
        out += _strangers("measure", asked, known.measures)
        out += _strangers("measure of measures.toml", asked, held.measures)
        out += _strangers("check", part.checks, known.checks)
        out += _strangers("caution", part.cautions, known.cautions)
        out += _strangers("role", [by for hold in part.holds for by in hold.by], known.roles)
        out += _strangers("role", [who for tell in part.tells for who in tell.whom], known.roles)
    out += _origin_problems(row, held)
    return [line for line in out if line]


def _own_unit(row: Row) -> str:
    return row.counted.unit if row.counted is not None else row.unit


def _conditions(row: Row) -> list[Condition]:
    found = [*row.when, *row.unless]
    found += [c for part in (row, *row.bands) for n in part.measures for c in (*n.when, *n.unless)]
    found += [target for part in (row, *row.bands) for target in part.targets]
    return found + [c for c in (row.recovers_when,) if c is not None]


def _condition_problem(condition: Condition) -> str:
    return "" if is_fact(condition.what) else problem(condition.what, condition.unit)


def unknown_in_order(order: Order, held: Held) -> list[str]:
    """Say which names of an order row stand nowhere."""
    out = _strangers("work type", (order.before, order.after), words().work_types)
    out += [_condition_problem(c) for c in (*order.when, *order.unless)]
    out += _origin_problems(order, held)
    return [line for line in out if line]


def _origin_problems(part: Row | Order, held: Held) -> list[str]:
    out = _strangers("source", (part.source,), held.sources)
    out += _strangers("set", part.sets, held.sets)
    return out if part.clause else [*out, "has no clause"]


def _strangers(kind: str, names: Iterable[str], known: Iterable[str]) -> list[str]:
    found = set(known)
    return [f"{kind} {name!r} is not known" for name in names if name not in found]
