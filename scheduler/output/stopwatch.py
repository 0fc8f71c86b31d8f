"""How long each step of a run takes: a bar while it goes on, the shares after it."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from rich.console import Console, RenderableType
from rich.progress import BarColumn, Progress, TextColumn
from rich.table import Table


class Stopwatch:
    """Seconds by step, in the order the steps began; the same step again adds to it."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self._step, self._since = "", time.perf_counter()

    def watch(self, step: str) -> None:
        """Begin a step, and so end the one before it."""
        self.stop()
        self._step = step

    def stop(self) -> None:
        """End the step that is under way."""
        now = time.perf_counter()
        if self._step:
            self.seconds[self._step] = self.seconds.get(self._step, 0.0) + now - self._since
        self._step, self._since = "", now

    def table(self) -> RenderableType:
        """Return the seconds and the share of each step, and of all together."""
        whole = sum(self.seconds.values()) or 1.0
        table = Table(box=None, pad_edge=False, header_style="bold")
        for title in ("Step", "Seconds", "Share", ""):
            table.add_column(title, justify="right" if title in {"Seconds", "Share"} else "left")
        for step, seconds in self.seconds.items():
            share = seconds / whole
            table.add_row(step, f"{seconds:.2f}", f"{share:.0%}", "#" * round(20 * share))
        table.add_row("all", f"{whole:.2f}", "100%", "")
        return table


@contextmanager
def timed(steps: Sequence[str], *, asked: bool) -> Iterator[Stopwatch]:
    """Time the steps of a run; where it is asked for, with a bar on a terminal's error stream.

    The shares are printed there too, so that ``--json`` stays what it is.
    """
    clock = Stopwatch()
    console = Console(stderr=True, highlight=False)
    if not asked:
        yield clock
        return
    columns = (TextColumn("{task.description}"), BarColumn())
    hidden = not console.is_terminal
    with Progress(*columns, console=console, transient=True, disable=hidden) as bar:
        shown = bar.add_task("", total=len(steps))
        plain = clock.watch

        def watch(step: str) -> None:
            plain(step)
            bar.update(shown, description=step, advance=1)

        clock.watch = watch  # type: ignore[method-assign]
        yield clock
    clock.stop()
    console.print(clock.table())
