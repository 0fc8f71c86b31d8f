"""No row gives go on what nobody knows unless the book's page names it with its reason.

The law is this project's own: what is not known is never good news.
"""

from __future__ import annotations

import numpy as np
import pytest

from rules.book import all_rows
from rules.book_rows import Row
from rules.explain import reason_of
from rules.grading import (
    AGES,
    is_by_hour,
    is_by_start,
    is_on_site,
    row_by_hour,
    row_by_start,
    row_on_site,
)
from rules.judge import Asked
from rules.page import on_unknown, page
from rules.verdict import Verdict
from rules.weather import Weather

HOURS = 12
NOTHING = Weather({}, HOURS)
ROWS = [row for row in all_rows()[0] if row.quantity and not row.only_advises]


def bare(row: Row) -> Row:
    """Return a row that binds whatever the job says."""
    return row.model_copy(update={"when": (), "unless": ()})


def told_nothing(row: Row) -> Verdict | None:
    asked = Asked(row.work_types[0])
    if is_on_site(row):
        found = row_on_site(row, asked, NOTHING)
    elif is_by_hour(row):
        found = row_by_hour(row, asked, NOTHING)
    elif is_by_start(row):
        found = row_by_start(row, asked, NOTHING, np.arange(HOURS) + 1)
    else:
        return None  # placed by the clock or by a look: answers alone read it
    return Verdict(int(found.min()))  # the start that knows most of what past hours left


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.id)
def test_nothing_known_is_no_go_unless_the_page_says_why(row: Row) -> None:
    verdict = told_nothing(bare(row))
    if verdict is None:
        return
    elsewhere = row.unsaid is not None or row.quantity in AGES  # tests/planning/rulings
    assert (verdict >= Verdict.NOT_KNOWN) != bool(on_unknown(row) or elsewhere), row.id


def test_the_page_lists_each_with_its_reason() -> None:
    text = page()
    for row in ROWS:
        why = on_unknown(row)
        assert not why or f"- `{row.id}`: {why}" in text


def test_a_row_added_without_a_reason_is_not_known() -> None:
    ice = next(row for row in ROWS if row.id == "cribs.ice")
    silent = bare(ice).model_copy(update={"seen_on_site": "", "left_by": ""})
    assert told_nothing(silent) is Verdict.NOT_KNOWN
    reason = reason_of(silent, Asked("lower_house"), NOTHING, 0, 3)
    assert reason is not None
    assert reason.verdict is Verdict.NOT_KNOWN
    assert not reason.ask_on_site
