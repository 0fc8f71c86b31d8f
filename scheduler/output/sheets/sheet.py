"""What a sheet is made of, before it is a page or a PDF: headings, lines, boxes, tables."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Tick:
    """A line with a box before it."""

    text: str
    done: bool = False


@dataclass(frozen=True, slots=True)
class Grid:
    """A table; an empty cell is room to write."""

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[int, ...] = ()  # shares of the page; (): all alike
    marked: frozenset[int] = frozenset()  # rows that stand out


@dataclass(frozen=True, slots=True)
class Section:
    """A heading with what stands under it, in this order: lines, ticks, table."""

    heading: str
    lines: tuple[str, ...] = ()
    ticks: tuple[Tick, ...] = ()
    grid: Grid | None = None


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: its file name without ending, what it says, who signs it."""

    name: str
    title: str
    under: str  # job, place, as of when
    sections: tuple[Section, ...]
    cautions: tuple[str, ...] = ()
    signs: tuple[str, ...] = ()
