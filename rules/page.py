"""The rule book in words: its rows as lines, how editions differ, and the page of every row.

``lines(book, ...)`` is what the command prints; ``python -m rules.page`` writes
``rules/book/BOOK.md`` anew after the book has changed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from rules.book import Book, all_rows, editions, groups, load_book, sources
from rules.book_rows import Band, Condition, Need, Order, Row
from rules.verdict import WORDS

SYMBOLS: Final = {
    "degF": "°F", "degC": "°C", "delta_degF": "°F", "delta_degC": "°C", "yes_no": "", "count": "",
    "lb/ft2/h": "lb/ft²h", "kg/m2/h": "kg/m²h",
}  # fmt: skip
TAKEN: Final = {
    "mean": "mean", "midpoint": "mean of high and low", "min": "least", "max": "greatest",
    "sum": "sum", "duration": "hours", "count": "count",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class BandWords:
    """One band in words: its range, what it allows, what it asks."""

    range: str
    allows: str
    asks: str

    def __str__(self) -> str:
        return f"{self.range}: {self.allows}{self.asks}"

    def marked(self) -> str:
        """Return the same in Markdown, what it allows in bold."""
        return f"{self.range}: **{self.allows}**{self.asks}"


@dataclass(frozen=True, slots=True)
class Line:
    """One row of the book in words."""

    row: Row
    looks_at: str  # the quantity, how it is taken and over which hours
    holds_when: str  # empty: always
    bands: tuple[BandWords, ...]  # from low to high
    asks: str  # whatever the band
    source: str  # title, edition and clause
    marks: str  # compare with the adopted edition; overridden by; confirmed by


def lines(book: Book, *, work_type: str | None = None, source: str | None = None) -> list[Line]:
    """Return the rows of a book in words, all of them or those of one work type or source."""
    rows = book.rows if work_type is None else book.rows_for(work_type)
    return [line(row) for row in rows if source in (None, row.source)]


def line(row: Row) -> Line:
    """Return one row in words."""
    return Line(
        row=row,
        looks_at=_looks_at(row),
        holds_when=_conditions(row),
        bands=tuple(_bands(row)),
        asks=_asks(row),
        source=origin(row),
        marks=_marks(row),
    )


def origin(part: Row | Order) -> str:
    """Return where a row comes from: title, edition and clause."""
    known = sources()[part.source]
    if known.kind == "practice" and known.title == known.edition:
        return f"{known.title}: {part.clause}"
    return f"{known.title} ({known.edition}): {part.clause}"


def differences(one: Book, other: Book) -> tuple[list[Row], list[Row]]:
    """Return the rows that only the first book holds, and those that only the second does."""
    ours, theirs = (frozenset(row.id for row in book.rows) for book in (one, other))
    return (
        [row for row in one.rows if row.id not in theirs],
        [row for row in other.rows if row.id not in ours],
    )


# Words


def _number(value: float, unit: str) -> str:
    return f"{value:g} {SYMBOLS.get(unit, unit)}".strip()


def _looks_at(row: Row) -> str:
    if not row.quantity:
        return "always"
    name = row.quantity if row.name == row.quantity else row.name
    name = name.replace("_", " ")
    if row.counted is not None:
        name = f"hours with {_condition(row.counted)}"
    elif row.taken_as != "value":
        ways = " or ".join(TAKEN[way] for way in (row.taken_as, *row.also_taken_as))
        name = f"{ways} of {name}"
    if row.hours is not None:
        name += f", {row.hours.from_} until {row.hours.until}"
    instead = "; ".join(substitute.says for substitute in row.substitutes)
    return f"{name} ({instead})" if instead else name


def _conditions(row: Row) -> str:
    return _when(row.when, row.unless)


def _when(when: Sequence[Condition], unless: Sequence[Condition]) -> str:
    held = " and ".join(_condition(c) for c in when)
    lifted = " or ".join(_condition(c) for c in unless)
    return f"{held}{', ' if held and lifted else ''}{f'unless {lifted}' if lifted else ''}"


def _condition(condition: Condition) -> str:
    name = condition.what.removeprefix("*.").replace(".", " ").replace("_", " ")
    if condition.taken_as is not None:
        name = f"{TAKEN.get(condition.taken_as, condition.taken_as)} {name}"
    if condition.is_ is not None:
        said = condition.is_ if isinstance(condition.is_, tuple) else (condition.is_,)
        return f"{name} is {' or '.join(_yes(word) for word in said)}"
    return f"{name} {bounds(condition)}"


def _yes(word: object) -> str:
    return {True: "yes", False: "no"}.get(word, str(word)) if isinstance(word, bool) else str(word)


def bounds(condition: Condition) -> str:
    """Return a condition's bounds in words: ``40 to 120 °F``."""
    parts = (
        ("over", condition.above),
        ("from", condition.at_least),
        ("under", condition.below),
        ("up to", condition.at_most),
    )
    given = [(word, value) for word, value in parts if value is not None]
    return " ".join(f"{word} {value:g}" for word, value in given) + _unit(condition.unit)


def _unit(unit: str) -> str:
    symbol = SYMBOLS.get(unit, unit)
    return f" {symbol}" if symbol else ""


def _bands(row: Row) -> Iterable[BandWords]:
    before: Band | None = None
    for band in row.bands:
        asked = [text for text in (band.says, _asks(band)) if text]
        told = f": {'; '.join(asked)}" if asked else ""
        call = f", {band.call}" if band.call else ""
        yield BandWords(_range(row, before, band), f"{WORDS[band.outcome]}{call}", told)
        before = band


def _range(row: Row, before: Band | None, band: Band) -> str:
    if any(b.is_ is not None for b in row.bands):
        said = band.is_ if isinstance(band.is_, tuple) else (band.is_,)
        return "else" if band.is_ is None else " or ".join(_yes(word) for word in said)
    low = high = ""
    if before is not None and before.up_to is not None:
        low = f"{'over' if before.edge == 'below' else 'from'} {before.up_to:g}"
    if band.up_to is not None:
        high = f"{'up to' if band.edge == 'below' else 'under'} {band.up_to:g}"
    joint = " to " if low and high.startswith("under") else " "
    text = joint.join(part for part in (low, high) if part)
    return text + _unit(row.unit) if text else "any"


def _asks(part: Row | Band) -> str:
    kept = [f"{t.what.replace('_', ' ')} {bounds(t)}" for t in part.targets]
    said = [
        ", ".join(_need(need) for need in part.measures),
        f"keep {', '.join(kept)}" if kept else "",
        f"check {_plain(part.checks)}" if part.checks else "",
        f"beware {_plain(part.cautions)}" if part.cautions else "",
        "; ".join(f"{' or '.join(h.by)} decides: {h.needs}" for h in part.holds),
        "; ".join(f"tell {' and '.join(t.whom)}: {t.what}" for t in part.tells),
    ]
    return "; ".join(text.replace("_", " ") for text in said if text)


def _need(need: Need) -> str:
    name = " or ".join(need.measure)
    until = "" if str(need.until) == "end" else f" until {need.until}"
    when = _when(need.when, need.unless)
    return f"{name}{until}" + (f" ({when})" if when else "")


def _plain(names: Sequence[str]) -> str:
    return ", ".join(names)


def _marks(row: Row) -> str:
    marks = []
    if row.verify:
        marks.append("compare with the adopted edition")
    if row.confirmed_by:
        marks.append(f"confirmed by {row.confirmed_by}")
    if row.overridden_by:
        marks.append(f"set for this job by {row.overridden_by}: {row.override_why}")
    return "; ".join(marks)


# The page

HEAD: Final = """# The rule book

Written by `python -m rules.page` from the tables beside this page; do not edit it here. Rows
marked *compare* come from memory or a paraphrase: a person compares them with the edition adopted
where the job stands, and says so in the job file. Local codes, the engineer of record and licensed
trades decide."""


UNKNOWN: Final = """Everywhere else a limit that binds and cannot be judged is *not known*, and
that is never go: an absent column, a gap, an old forecast, one of another place or that ends too
early, an age nobody logged. Rows that only advise refuse nothing and are not listed."""


def page() -> str:
    """Return the page of every row of every edition, Markdown."""
    rows, orders = all_rows()
    parts = [HEAD, "## Editions", *_edition_lines(), *_differing(), "## Rows"]
    family = ""
    for row in rows:
        if _family(row) != family:
            family = _family(row)
            parts.append(f"### {family}")
        parts.append(_entry(line(row)))
    parts += ["## What may go though nobody knows", UNKNOWN]
    parts.append("\n".join(f"- `{row.id}`: {why}" for row in rows if (why := on_unknown(row))))
    parts.append("## Order of work")
    parts += [_order(order) for order in orders]
    parts.append("## Sources")
    parts += [f"- `{key}`: {s.title}; {s.edition} ({s.kind})" for key, s in sources().items()]
    return "\n\n".join(parts) + "\n"


def on_unknown(row: Row) -> str:
    """Return why a row that refuses or protects may give go on what nobody knows; empty: never."""
    if row.only_advises or not row.quantity:
        return ""
    if row.ordinary is not None:
        return f"ordinary size, {row.ordinary:g} {row.unit} at most, told among the checks"
    if row.felt:
        return f"felt at work: {row.felt}"
    if row.seen_on_site:
        left = f", asked after {row.left_by}" if row.left_by else ""
        return f"seen on site{left}: {row.seen_on_site}"
    if row.quantity.startswith("age_of_") and not row.needed:
        return "an age: binds only where the job has such work"
    return ""


def _family(row: Row) -> str:
    return row.id.split(".")[0]


def _edition_lines() -> list[str]:
    return [
        f"- `{key}`: {edition.name}. Sets: {', '.join(edition.sets)}"
        for key, edition in editions().items()
    ]


def _differing() -> list[str]:
    usual = load_book()
    out = [f"## How editions differ from `{usual.edition}`"]
    for key in editions():
        away, instead = differences(usual, load_book(key))
        if away or instead:
            out.append(f"**{key}**\n\n- without: {_stems(away)}\n- with: {_stems(instead)}")
    return out


def _stems(rows: Iterable[Row]) -> str:
    """Name rows by the first two parts of their id, with how many there are."""
    counts = Counter(".".join(row.id.split(".")[:2]) for row in rows)
    told = [f"{stem}{f' ({n} rows)' if n > 1 else ''}" for stem, n in counts.items()]
    return ", ".join(told) or "nothing"


def _entry(told: Line) -> str:
    row = told.row
    head = f"**{row.id}**" + (f" — {row.says}" if row.says else "")
    facts = [
        f"work: {_work(row)}",
        f"sets: {', '.join(row.sets)}",
        f"looks at: {told.looks_at}",
        f"when: {told.holds_when}" if told.holds_when else "",
        f"asks: {told.asks}" if told.asks else "",
        *(band.marked() for band in told.bands),
        f"source: {told.source}",
        f"*{told.marks}*" if told.marks else "",
    ]
    return "\n".join([head, "", *(f"- {fact}" for fact in facts if fact)])


def _work(row: Row) -> str:
    for name, kinds in groups().items():
        if row.work_types == kinds:
            return name
    return ", ".join(row.work_types).replace("_", " ")


def _order(order: Order) -> str:
    when = _when(order.when, order.unless)
    text = f"- {order.before} before {order.after}: {order.says}".replace("_", " ")
    return text + (f", {when}" if when else "") + f". {origin(order)}"


if __name__ == "__main__":
    target = Path(__file__).parent / "book" / "BOOK.md"
    target.write_text(page(), encoding="utf-8")
