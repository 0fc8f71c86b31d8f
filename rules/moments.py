"""Times counted from an event of the work, as rows write them: ``end+48h``."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal, get_args

Anchor = Literal[
    "start", "end", "now", "day_start", "day_end", "forecast_end", "before_event", "sunset",
    "cut_off", "inspected", "dry_end", "held", "table",
]  # fmt: skip
# What a row may write; an hour of the table is worked out, never written.
ANCHORS: Final[tuple[str, ...]] = tuple(name for name in get_args(Anchor) if name != "table")
_WRITTEN: Final = re.compile(r"^([a-z_]+?)(?:([+-]\d+(?:\.\d+)?)h)?$")


@dataclass(frozen=True, slots=True)
class Moment:
    """A time counted from an event of the work: ``end`` plus 48 hours."""

    anchor: Anchor
    offset_h: float = 0.0

    def __str__(self) -> str:
        return self.anchor if self.offset_h == 0 else f"{self.anchor}{self.offset_h:+g}h"


def moment(text: object) -> Moment:
    """Read a moment as the book writes it.

    Raises
    ------
    ValueError
        If it is no known event with hours added or taken off.
    """
    if isinstance(text, Moment):
        return text
    found = _WRITTEN.match(str(text))
    if found is None or found[1] not in ANCHORS:
        raise ValueError(f"{text!r} is no moment; write one of {', '.join(ANCHORS)}, or 'end+48h'")
    return Moment(found[1], float(found[2] or 0.0))  # type: ignore[arg-type]
