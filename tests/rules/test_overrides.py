from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.book import load_book
from rules.errors import BookFault, Faults
from rules.judge import Asked, hour_verdicts
from rules.overrides import confirm, is_looser, override
from rules.verdict import Verdict
from rules.weather import Weather

BOOK = load_book("tms602-2016")
ROW = "wind.lift.gust"
OUTCOMES = st.sampled_from(["go", "go_with_protection", "no_go"])


def gusts(*mph: float) -> Weather:
    values = np.array(mph) * 0.44704
    calm = np.zeros(values.size)
    return Weather({"wind_speed_of_gust_ms": values, "wind_speed_ms": calm}, values.size)


def lifting(book: object, task: str = "") -> list[int]:
    facts = {"task.id": task} if task else {}
    only = replace(book, rows=tuple(row for row in book.rows if row.id == ROW))
    return hour_verdicts(only, Asked("lower_house", facts), gusts(9, 14, 22, 30)).tolist()


def test_a_stricter_limit_holds_and_keeps_who_and_why() -> None:
    bands = [{"up_to": 12, "outcome": "go"}, {"outcome": "no_go"}]
    book = override(BOOK, row=ROW, bands=bands, who="R. Hale, lifter", why="light sill")
    assert lifting(book) == [0, 3, 3, 3]
    row = book.row(ROW)
    assert (row.overridden_by, row.override_why) == ("R. Hale, lifter", "light sill")
    assert lifting(BOOK) == [0, 0, 1, 3]


def test_a_looser_limit_needs_a_named_person() -> None:
    bands = [{"up_to": 35, "outcome": "go"}, {"outcome": "no_go"}]
    with pytest.raises(BookFault, match="needs the name"):
        override(BOOK, row=ROW, bands=bands, who="", why="it is fine")
    allowed = override(BOOK, row=ROW, bands=bands, who="D. Orr, engineer", why="braced cribs")
    assert lifting(allowed) == [0, 0, 0, 0]


def test_an_override_for_one_task_leaves_the_others() -> None:
    bands = [{"up_to": 12, "outcome": "go"}, {"outcome": "no_go"}]
    book = override(BOOK, row=ROW, bands=bands, who="R. Hale", why="light sill", task="down")
    assert lifting(book, "down") == [0, 3, 3, 3]
    assert lifting(book, "other") == lifting(book) == [0, 0, 1, 3]


def test_faulty_overrides_name_the_row() -> None:
    with pytest.raises(BookFault, match=r"did you mean wind\.lift\.gust"):
        override(BOOK, row="wind.lift.gusts", bands=[], who="a", why="b")
    with pytest.raises(Faults, match=r"wind\.lift\.gust.*gap"):
        override(BOOK, row=ROW, bands=[{"up_to": 9, "outcome": "go"}], who="a", why="b")
    with pytest.raises(Faults, match="no outcome"):
        override(BOOK, row=ROW, bands=[{"outcome": "maybe"}], who="a", why="b")


def test_a_confirmed_row_no_longer_asks_to_be_verified() -> None:
    row = "masonry.cold.protect-grouted"
    assert BOOK.row(row).verify
    seen = confirm(BOOK, row=row, who="A. Lind", on="2026-10-01", edition="TMS 602-16").row(row)
    assert not seen.verify
    assert seen.confirmed_by == "A. Lind, 2026-10-01, TMS 602-16"


@given(
    edges=st.lists(st.integers(1, 60), min_size=1, max_size=3, unique=True).map(sorted),
    words=st.lists(OUTCOMES, min_size=4, max_size=4),
    gust=st.floats(0, 80),
)
def test_an_override_that_is_not_looser_never_loosens(
    edges: list[int], words: list[str], gust: float
) -> None:
    bands = [{"up_to": e, "outcome": w} for e, w in zip(edges, words, strict=False)]
    bands.append({"outcome": words[-1]})
    book = override(BOOK, row=ROW, bands=bands, who="N. Person", why="trial")
    old, new = BOOK.row(ROW), book.row(ROW)
    if is_looser(old, new):
        return
    only = [replace(b, rows=(r,)) for b, r in ((BOOK, old), (book, new))]
    before, after = (hour_verdicts(b, Asked("lower_house"), gusts(gust))[0] for b in only)
    assert after >= before
    assert before in set(map(int, Verdict))
