"""Which weather brings a caution or a check, and which stands first: ``book/cautions.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from functools import cache
from importlib import resources
from typing import Any


@cache
def _file() -> dict[str, Any]:
    text = resources.files("rules").joinpath("book/cautions.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def hurt() -> tuple[str, ...]:
    """Return the cautions of what can hurt people, the gravest first."""
    return tuple(_file()["hurt"])


@cache
def notes() -> frozenset[str]:
    """Return the cautions on how an answer was made."""
    return frozenset(_file()["notes"])


@cache
def own_words() -> frozenset[str]:
    """Return the cautions of which the words of the day are read."""
    return frozenset(_file()["own_words"])


@cache
def brought_by(kind: str) -> frozenset[str]:
    """Return the cautions, checks and numbers that only one kind of weather brings.

    Parameters
    ----------
    kind : str
        ``cautions``, ``checks`` or ``numbers``, behind the weather's name: ``cold.cautions``.
    """
    weather, _, part = kind.partition(".")
    return frozenset(_file()["brought_by"][weather].get(part, ()))


def weathers() -> tuple[str, ...]:
    """Return the kinds of weather that bring something."""
    return tuple(_file()["brought_by"])


def gravest_first(names: Iterable[str]) -> list[str]:
    """Return cautions once each: what hurts people first, the gravest of it leading."""
    order = {name: place for place, name in enumerate(hurt())}
    return sorted(dict.fromkeys(names), key=lambda name: order.get(name, len(order)))
