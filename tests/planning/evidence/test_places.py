"""One matcher of places. Common practice, no source: it is how people write on site."""

from __future__ import annotations

import pytest

from scheduler.planning.evidence.places import concerns, same_place, spot


@pytest.mark.parametrize(
    ("place", "other", "same"),
    [
        ("North", "north", True),
        ("north", "North wall", True),
        ("NORTH-EAST corner", "north-east", True),
        ("north wall", "south wall", False),
        ("", "north", False),
        ("", "", True),
        ("northern", "north", False),
        ("north side", "north wall", True),
        ("N side", "north wall", True),
        ("the N. wall", "North", True),
        ("NE corner", "northeast corner", True),
        ("north-east corner", "NE", True),
        ("SW pier", "north pier", False),
        ("pier 2", "pier 1", False),
    ],
)
def test_places_are_told_by_their_words(place: str, other: str, same: bool) -> None:
    assert same_place(place, other) is same
    assert same_place(other, place) is same


@pytest.mark.parametrize(
    ("place", "wanted", "elsewhere", "does"),
    [
        ("", "north", ("south",), True),  # no place named: everywhere
        ("north wall", "", ("south",), True),  # work without a place touches all
        ("north wall", "North", ("south",), True),
        ("south door", "north", ("south",), False),  # another task's place
        ("south face", "north wall", (), False),  # another side of the house
        ("north side", "north wall", (), True),
        ("NW corner", "west wall", ("north wall",), True),  # a corner is both walls'
        ("north door", "north corner", (), True),  # the same side
        ("S corner", "N wall", (), False),
        ("pallet 3", "north", ("south",), True),  # nobody's spot concerns everybody
        ("the yard", "rear wall", (), True),
    ],
)
def test_a_spot_concerns_the_work_unless_it_is_known_to_be_elsewhere(
    place: str, wanted: str, elsewhere: tuple[str, ...], does: bool
) -> None:
    assert concerns(place, wanted, elsewhere) is does


def test_a_wider_name_is_not_the_same_spot() -> None:
    """A warm reading of the wall does not speak for its cold north corner."""
    assert spot("North wall") == spot("the north side")
    assert spot("wall") != spot("north wall")
    assert spot("north corner") != spot("north wall")
