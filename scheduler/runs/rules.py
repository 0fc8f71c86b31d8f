"""The rule book as it is asked for: an edition, its rows by work or source, two editions apart."""

from __future__ import annotations

from collections.abc import Collection

from rules.book import Book, sources
from rules.book_rows import Row
from rules.errors import BadInput
from rules.page import Line, differences, lines
from rules.words import meant, words


def rows_of(book: Book, *, work_type: str | None, source: str | None) -> list[Line]:
    """Return the rows of a book in words, of one kind of work or one source.

    Raises
    ------
    BadInput
        If the book knows no such work or source.
    """
    _known(work_type, words().work_types, "work type")
    _known(source, sources(), "source")
    return lines(book, work_type=work_type, source=source)


def difference(one: Book, other: Book, *, work_type: str | None) -> tuple[list[Row], list[Row]]:
    """Return the rows that only the one and only the other edition has.

    Raises
    ------
    BadInput
        If the book knows no such work.
    """
    _known(work_type, words().work_types, "work type")
    away, instead = differences(one, other)
    if work_type is None:
        return away, instead
    mine = {row.id for book in (one, other) for row in book.rows_for(work_type)}
    return [r for r in away if r.id in mine], [r for r in instead if r.id in mine]


def _known(name: str | None, known: Collection[str], what: str) -> None:
    if name is not None and name not in known:
        raise BadInput(f"no {what} {name!r}; {meant(name, known)}")
