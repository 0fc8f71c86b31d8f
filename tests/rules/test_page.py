from __future__ import annotations

from importlib import resources

from rules.book import all_rows, load_book
from rules.overrides import override
from rules.page import differences, line, lines, page


def test_the_page_of_the_book_is_up_to_date() -> None:
    kept = resources.files("rules").joinpath("book/BOOK.md").read_text(encoding="utf-8")
    assert kept == page(), "run python -m rules.page"


def test_the_page_names_every_row_with_its_source() -> None:
    text = page()
    for row in all_rows()[0]:
        assert f"**{row.id}**" in text
        assert row.clause in text


def test_bands_read_like_the_clause() -> None:
    book = load_book("tms602-2016")
    cold = [band.marked() for band in line(book.row("masonry.cold.laying")).bands]
    starts = [band.split(":")[0] for band in cold]
    assert starts == [
        "under 20 °F", "from 20 to under 25 °F", "from 25 to under 32 °F",
        "from 32 to under 40 °F", "from 40 °F",
    ]  # fmt: skip
    hot = [band.marked() for band in line(book.row("masonry.hot.working")).bands]
    assert [band.split(":")[0] for band in hot] == [
        "up to 100 °F", "over 100 up to 115 °F", "over 115 °F",
    ]  # fmt: skip
    assert "keep mortar temperature from 40 up to 120 °F" in cold[3]


def test_lines_are_chosen_by_work_and_by_source() -> None:
    book = load_book("tms602-2016")
    grout = lines(book, work_type="place_grout")
    assert grout
    assert all("place_grout" in told.row.work_types for told in grout)
    wind = lines(book, source="bracing-2012")
    assert wind
    assert all(told.row.source == "bracing-2012" for told in wind)


def test_editions_are_told_apart() -> None:
    us, canada = load_book("tms602-2016"), load_book("canada-nbc")
    only_us, only_canada = differences(us, canada)
    assert "masonry.cold.laying" in {row.id for row in only_us}
    assert "canada.masonry.laying" in {row.id for row in only_canada}
    assert differences(us, load_book("tms602-2013")) == ([], [])


def test_an_override_is_printed_with_who_and_why() -> None:
    bands = [{"up_to": 12, "outcome": "go"}, {"outcome": "no_go"}]
    book = override(
        load_book(), row="wind.lift.gust", bands=bands, who="R. Hale", why="light sill"
    )
    assert "set for this job by R. Hale: light sill" in line(book.row("wind.lift.gust")).marks
