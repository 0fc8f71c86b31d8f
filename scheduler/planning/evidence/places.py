"""Places on site as people write them: which words speak of the same spot.

A reading or fact that names no place is taken to hold everywhere.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache
from typing import Final

SIDES: Final = frozenset({"north", "south", "east", "west"})
LETTERS: Final = {side[0]: side for side in SIDES}
CORNER: Final = re.compile("(north|south|n|s)(east|west|e|w)")
PLAIN: Final = frozenset(
    {"the", "a", "at", "by", "of", "on", "wall", "side"}
)  # tell no spots apart


@cache
def _words(place: str) -> frozenset[str]:
    found = re.findall(r"\w+", place.casefold())
    parts = [m.groups() if (m := CORNER.fullmatch(word)) else (word,) for word in found]
    return frozenset(LETTERS.get(part, part) for part in sum(parts, ()))


@cache
def spot(place: str) -> frozenset[str]:
    """Return what tells a spot from others: two names with the same are one spot."""
    return _words(place) - PLAIN or _words(place)


def same_place(place: str, other: str) -> bool:
    """Tell whether two names speak of one place: ``N side`` and the north wall do.

    One name's words, or those that tell spots apart, all stand in the other; upper and lower case
    and hyphens make no difference. No name at all is the same as no other one.
    """
    one, two = _words(place), _words(other)
    if not one or not two:
        return one == two
    return any(a <= b or b <= a for a, b in ((one, two), (spot(place), spot(other))))


def concerns(place: str, wanted: str, elsewhere: Iterable[str] = ()) -> bool:
    """Tell whether what was said of a place concerns work at another.

    It does where either names none, and where both name the same one. A spot that is nobody's,
    such as a pallet or the yard, concerns every place; the place of another task, or another side
    of the house, does not.

    Parameters
    ----------
    place
        Where it was read or seen.
    wanted
        Where the work is.
    elsewhere
        Places of the job's other tasks.
    """
    if not _words(place) or not _words(wanted) or same_place(place, wanted):
        return True
    if any(_words(name) and same_place(place, name) for name in elsewhere):
        return False
    named, own = _words(place) & SIDES, _words(wanted) & SIDES
    return bool(named & own) or not (named and own)
