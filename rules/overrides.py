"""Limits set for one job, and rows that a person has compared with the adopted edition.

An override puts other bands in a row's place, for the job or for one task; who said so and why is
kept with the row and printed wherever it decides. A looser one needs a named person.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from rules.book import Book, read_bands, replaced
from rules.book_rows import Band, Condition, Row
from rules.errors import BookFault
from rules.facts import band_index, same_word
from rules.verdict import Verdict
from rules.words import nearest

NEAR = 1e-3  # how far beside an edge two sets of bands are compared, in the row's unit


def override(
    book: Book,
    *,
    row: str,
    bands: Sequence[Mapping[str, Any]],
    who: str,
    why: str,
    task: str = "",
) -> Book:
    """Return the book with other bands in a row's place.

    Parameters
    ----------
    row
        Id of the row.
    bands
        As the book's files write them, in the row's own unit.
    who, why
        Who allowed it, and the reason.
    task
        Id of the one task it holds for; empty: the whole job.

    Raises
    ------
    BookFault
        If the book has no such row, or a looser limit comes without a named person and a reason.
    Faults
        Every fault of the bands.
    """
    old = row_of(book, row)
    new = replaced(
        old, {"bands": read_bands(old, bands), "overridden_by": who or "job", "override_why": why}
    )
    if is_looser(old, new) and not (who.strip() and why.strip()):
        want = "a looser limit needs the name of who allowed it, and why"
        raise BookFault("override", row, None, want)
    if not task:
        return _with(book, old, new)
    this = Condition.model_validate({"what": "task.id", "is": task})
    others = replaced(old, {"unless": (*old.unless, this)})
    only = replaced(new, {"when": (*new.when, this)})
    return _with(book, old, others, only)


def confirm(book: Book, *, row: str, who: str, on: str, edition: str) -> Book:
    """Return the book with a row marked as compared with the adopted edition.

    Raises
    ------
    BookFault
        If the book has no such row.
    """
    old = row_of(book, row)
    return _with(
        book, old, replaced(old, {"verify": False, "confirmed_by": f"{who}, {on}, {edition}"})
    )


def row_of(book: Book, row: str) -> Row:
    """Return a row by its id.

    Raises
    ------
    BookFault
        If this edition has none; names the nearest.
    """
    try:
        return book.row(row)
    except KeyError:
        near = nearest(row, (known.id for known in book.rows))
        want = f"{book.edition} has no such row" + (f"; did you mean {near}" if near else "")
        raise BookFault("override", "row", row, want) from None


def _with(book: Book, old: Row, *new: Row) -> Book:
    rows = [r for row in book.rows for r in (new if row is old else (row,))]
    return replace(book, rows=tuple(rows))


def is_looser(old: Row, new: Row) -> bool:
    """Tell whether some value fares better under the new bands than under the old ones."""
    return any(_outcome(new, probe) < _outcome(old, probe) for probe in _probes(old, new))


def _probes(old: Row, new: Row) -> list[float | bool | str]:
    bands = (*old.bands, *new.bands)
    if any(band.is_ is not None for band in bands):
        named = [band.is_ for band in bands if band.is_ is not None]
        said = [w for words in named for w in (words if isinstance(words, tuple) else (words,))]
        return [*said, "another word"]
    edges = [band.up_to for band in bands if band.up_to is not None]
    return [edge + step for edge in edges for step in (-NEAR, 0.0, NEAR)] or [0.0]


def _outcome(row: Row, probe: float | bool | str) -> Verdict:
    if not row.bands:
        return Verdict.GO
    if any(band.is_ is not None for band in row.bands):
        fitting: list[Band] = [
            b
            for b in row.bands
            if b.is_ is None or (isinstance(probe, (bool, str)) and same_word(probe, b.is_))
        ]
        return fitting[0].outcome if fitting else Verdict.NOT_KNOWN
    return row.bands[band_index(float(probe), row.bands)].outcome
