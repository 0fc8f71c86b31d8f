"""Sheets for paper, as pages and as PDF: what they hold, and that nothing in a name runs."""

from __future__ import annotations

import html.parser
from datetime import date
from pathlib import Path

import pytest
from pypdf import PdfReader

from scheduler.cli import main
from tests.mild_weather import mild_forecast, mild_years

START = "2026-09-14"
NAMES = {"tomorrow", "cold_plan", "set_down", "temperature", "orders"}


class Text(html.parser.HTMLParser):
    """The text of a page, and the tags that are in it."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.parts: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)

    def handle_data(self, data: str) -> None:
        self.parts.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.parts).split())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the sheets of a new job whose cores were grouted yesterday and read once."""
    path = tmp_path_factory.mktemp("sheets")
    job = path / "job.yaml"
    assert main(["new", "--defaults", "--out", str(job), "--start", START]) == 0
    text = job.read_text(encoding="utf-8")
    text = text.replace("name: Draw the beams", 'name: "<script>alert(1)</script> beams"')
    before, after = text.split("  - id: grout\n")
    after = after.replace("    crew: masons\n", "    crew: masons\n    state: done\n"
                          "    finished: 2026-09-14T10:00\n", 1)  # fmt: skip
    job.write_text(before + "  - id: grout\n" + after, encoding="utf-8")
    entries = path / "log.json"
    entries.write_text(
        '[{"kind": "reading", "when": "2026-09-14T15:00", "at": "2026-09-14T15:00", "quantity": '
        '"masonry_temperature", "value": 61.0, "unit": "degF", "place": "north corner"},'
        '{"kind": "release", "when": "2026-09-14T16:00", "task": "lower_1", "role": "engineer", '
        '"who": "A. Ryd"}]',
        encoding="utf-8",
    )
    at = ["--at", "2026-09-15T06:00"]
    assert main(["log", str(job), "--entries", str(entries), "--no-plan", *at]) == 0
    weather = mild_forecast(path, f"{START}T20:00-04:00")
    climate = mild_years(path)
    asked = ["--weather", str(weather), "--climate", str(climate), *at, "--out", str(path / "out")]
    with pytest.MonkeyPatch.context() as few:
        few.setenv("CLOSEIN_SCENARIOS", "24")  # a sheet states no odds
        assert main(["sheets", str(job), *asked]) == 0
    return path / "out"


def read(folder: Path, name: str) -> Text:
    return Text((folder / f"{name}.html").read_text(encoding="utf-8"))


def test_every_sheet_is_a_page_and_a_pdf(folder: Path) -> None:
    assert {p.stem for p in folder.glob("*.html")} == NAMES
    assert {p.stem for p in folder.glob("*.pdf")} == NAMES


@pytest.mark.parametrize("name", sorted(NAMES))
def test_page_and_pdf_say_the_same(folder: Path, name: str) -> None:
    page = read(folder, name).text
    pages = PdfReader(folder / f"{name}.pdf").pages
    paper = " ".join(" ".join(p.extract_text() for p in pages).split())
    for text in (page, paper):
        assert "Our house" in text
        assert "Local codes, the engineer of record and licensed trades decide." in text
    words = {word for word in page.split() if word.isalpha() and len(word) > 6}
    missing = {word for word in words if word not in paper}
    assert len(missing) <= len(words) / 20, missing  # the PDF breaks a few words at the margin


def test_nothing_in_a_name_runs(folder: Path) -> None:
    for path in folder.glob("*.html"):
        assert "script" not in Text(path.read_text(encoding="utf-8")).tags


def test_tomorrow_is_the_next_local_day(folder: Path) -> None:
    text = read(folder, "tomorrow").text
    assert f"{date(2026, 9, 16):%a} 16 Sep: who and what" in text


def test_the_set_down_sheet_names_who_released_what(folder: Path) -> None:
    text = read(folder, "set_down").text
    assert "A. Ryd" in text
    assert "70% of its 28-day strength" in text
    assert "25 mph" in text
    assert "Engineer, date" in text


def test_a_past_time_without_a_reading_is_a_gap_and_a_later_one_room(folder: Path) -> None:
    text = read(folder, "temperature").text
    assert "north corner" in text
    assert "61 °F" in text or "61.0 °F" in text
    rows = (folder / "temperature.html").read_text(encoding="utf-8").split("<tr")
    north = [row for row in rows if "Tue 15 Sep" in row]
    assert north
    assert all("<td>no reading</td>" not in row for row in north)  # still to come at 06:00


def test_the_cold_plan_has_its_three_parts(folder: Path) -> None:
    text = read(folder, "cold_plan").text
    for words in ("Before", "During", "After", "Carbon monoxide", "TMS 602"):
        assert words in text
    assert "end+" not in text
