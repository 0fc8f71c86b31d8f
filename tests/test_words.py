from __future__ import annotations

import math

import pytest

from rules.errors import OutOfRange
from rules.units import UNITS
from rules.words import nearest, site_quantities, words


def test_every_table_of_words_is_read_and_gives_a_meaning() -> None:
    book = words()
    for name in book.__slots__:
        table = getattr(book, name)
        assert table, name
        assert all(table.values()), name
    assert all(isinstance(c, list) for c in book.elements.values())


@pytest.mark.parametrize("quantity", site_quantities().values(), ids=lambda q: q.name)
def test_site_quantities_have_a_known_unit_and_rising_bounds(quantity: object) -> None:
    assert quantity.unit in UNITS
    assert math.isfinite(quantity.low)
    assert quantity.low < quantity.high
    assert quantity.units[0] == quantity.unit


def test_a_reading_is_taken_in_any_unit_of_its_kind() -> None:
    core = site_quantities()["unit_core_temperature"]
    core.check(35.0, "degF")
    core.check(1.5, "degC")
    with pytest.raises(OutOfRange, match="cannot be true"):
        core.check(288.15, "degC")
    with pytest.raises(OutOfRange, match="measures"):
        core.check(35.0, "mph")


def test_the_nearest_word_is_named_and_nothing_far_off() -> None:
    assert nearest("lay_blok", words().work_types) == "lay_block"
    assert nearest("Lay Block", words().work_types) == "lay_block"
    assert nearest("zzz", words().work_types) is None
