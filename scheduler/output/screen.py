"""Printing for people: as wide as the terminal, plain text where there is none."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from rich.console import Console, RenderableType

WIDTH = 110  # of a file or pipe, where no terminal says its own


def screen() -> Console:
    """Return the console for standard output."""
    console = Console(highlight=False)
    return console if console.is_terminal else Console(highlight=False, width=WIDTH, no_color=True)


def show(*parts: RenderableType) -> None:
    """Print the parts one under the other."""
    console = screen()
    for part in parts:
        console.print(part)


@contextmanager
def waiting(words: str, *, shown: bool = True) -> Iterator[None]:
    """Say on a terminal's error stream that something longer is under way."""
    console = Console(stderr=True)
    if not (shown and console.is_terminal):
        yield
        return
    with console.status(words):
        yield
