"""What a person is asked for a new job, read from ``questions.toml``.

Adding a question is a table there and a field of `scheduler.newjob.numbers.Numbers`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib import resources
from typing import Any, Final


class Kind(StrEnum):
    """The four jobs that can be made."""

    RAISED_HOUSE = "raised_house"
    STEM_WALL = "stem_wall"
    REPAIR = "repair"
    ADDITION = "addition"


KINDS: Final = {
    Kind.RAISED_HOUSE: "raise a house, lay courses on its wall, set it down, close it in",
    Kind.STEM_WALL: "new footing and stem wall under a raised house",
    Kind.REPAIR: "repair and repoint a chimney or wall",
    Kind.ADDITION: "small block addition, from the ground to closed in",
}


class Form(StrEnum):
    """How an answer is read."""

    TEXT = "text"
    CHOICE = "choice"
    YES_NO = "yes_no"
    WHOLE = "whole"
    NUMBER = "number"
    LENGTH = "length"  # metres inside
    LENGTHS = "lengths"  # several, with commas
    AREA = "area"  # square metres inside
    TEMPERATURE = "temperature"
    DAY = "day"
    MOMENT = "moment"


@dataclass(frozen=True, slots=True)
class Question:
    """One question: ``low`` and ``high`` are SI, the default is as a person writes it."""

    key: str
    ask: str
    form: Form
    default: str = ""  # "": may be left out
    default_si: str = ""  # where it differs in metric units
    low: float | None = None
    high: float | None = None
    small: bool = False  # a bare number is inches or millimetres, not feet or metres
    choices: tuple[str, ...] = ()
    kinds: frozenset[Kind] = frozenset(Kind)

    def default_in(self, units: str) -> str:
        """Return the default for people who read US or SI units."""
        return self.default_si if units == "si" and self.default_si else self.default


@cache
def questions() -> tuple[Question, ...]:
    """Return every question, in the order asked."""
    text = resources.files("scheduler").joinpath("newjob/questions.toml").read_text("utf-8")
    return tuple(_question(key, row) for key, row in tomllib.loads(text).items())


def _question(key: str, row: Mapping[str, Any]) -> Question:
    told = dict(row)
    told["form"] = Form(told["form"])
    told["kinds"] = frozenset(Kind(name) for name in told.get("kinds", tuple(Kind)))
    told["choices"] = tuple(told.get("choices", tuple(Kind) if key == "kind" else ()))
    return Question(key=key, **told)


def asked(kind: Kind) -> tuple[Question, ...]:
    """Return the questions of one kind of job, in the order they are asked."""
    return tuple(q for q in questions() if kind in q.kinds)
