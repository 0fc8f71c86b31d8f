"""What kind of thing each work type is, read from ``rules/book/kinds.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib import resources


class Form(StrEnum):
    """Whether there is something to start and stop."""

    WORK = "work"
    PROTECTION = "protection"
    STANDING = "standing"
    REMOVAL = "removal"
    PAPER = "paper"


@dataclass(frozen=True, slots=True)
class Kind:
    """One work type: its form, who comes for it, which work it protects, how it is left safe."""

    form: Form
    crew: str
    covers: tuple[str, ...] = ()
    stopped: tuple[str, ...] = ()  # measures that leave it safe where it is stopped half done


@cache
def kinds() -> Mapping[str, Kind]:
    """Return every work type's kind."""
    text = resources.files("rules").joinpath("book/kinds.toml").read_text(encoding="utf-8")
    return {
        name: Kind(
            Form(row["form"]),
            row["crew"],
            tuple(row.get("covers", ())),
            tuple(row.get("stopped", ())),
        )
        for name, row in tomllib.loads(text).items()
    }


def kind_of(work_type: str) -> Kind:
    """Return a work type's kind; one that nobody listed is plain work."""
    return kinds().get(work_type, Kind(Form.WORK, "crew"))
