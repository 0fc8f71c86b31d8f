"""What a person says twice on a command line: all of it is taken, or it is refused.

The library keeps the last value of an option that was given twice and says nothing, and has no
list of options that take several values each time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import typer
from typer.core import TyperCommand


class NothingLost(TyperCommand):
    """A command that takes every value of an option made for several, and no second of others.

    An option for several whose metavar is of several words takes as many values each time; the
    command gets them one after the other and reads them with ``in_turn``.
    """

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:  # the library's own context
        """Read the command line as it stands for the library."""
        options = (one for one in self.get_params(ctx) if one.param_type_name == "option")
        named = {name: one for one in options for name in (*one.opts, *one.secondary_opts)}
        return super().parse_args(ctx, spelled_out(args, named))


def spelled_out(args: Sequence[str], named: Mapping[str, Any]) -> list[str]:
    """Return the command line with one value after each name of an option made for several.

    Parameters
    ----------
    args
        The command line behind the command's name.
    named
        Options of the command by what is typed for them.

    Raises
    ------
    typer.BadParameter
        If an option that holds one value is given twice, or one for several lacks values.
    """
    left, out, seen = list(args), list[str](), set[str]()
    while left:
        word = left.pop(0)
        if word == "--":
            return [*out, word, *left]
        name, given, value = word.partition("=")
        known = named.get(name)
        if known is None or known.is_flag:
            out.append(word)
            continue
        if name in seen and not known.multiple:
            raise typer.BadParameter(f"{name} holds one value and is given twice; give it once")
        seen.add(name)
        width = _width(known)
        left = [value, *left] if given else left
        taken, left = left[:width], left[width:]
        if known.multiple and len(taken) < width:
            raise typer.BadParameter(f"{name} takes {known.metavar}, not {' '.join(taken)!r}")
        out += [f"{name}={one}" for one in taken] if known.multiple else [name, *taken]
    return out


def _width(known: Any) -> int:
    return len((known.metavar or "ONE").split()) if known.multiple else int(known.nargs)


def in_turn(values: Sequence[str] | None, width: int) -> list[tuple[str, ...]]:
    """Return the values of an option that takes several each time, one tuple for each time."""
    every = tuple(values or ())
    return [every[first : first + width] for first in range(0, len(every), width)]
