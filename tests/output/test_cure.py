"""The comparison of protections for people: table, lines and chart."""

from __future__ import annotations

from datetime import timedelta
from functools import cache

import pytest
from rich.console import Console

from rules.errors import BadInput
from scheduler.output.cure_chart import chart_suffix, cure_chart
from scheduler.output.cure_table import cure_lines, cure_table
from scheduler.planning.strength.cure_answer import CureAnswer
from tests.planning.strength.test_cure import FINISH, asked

ZONE = "America/New_York"


@cache
def answer(level: float, slot_h: int = 0) -> CureAnswer:
    slot = FINISH + timedelta(hours=slot_h) if slot_h else None
    return asked(level, slot=slot, protect_until=FINISH + timedelta(hours=48))


def printed(found: CureAnswer, units: str = "us") -> str:
    console = Console(width=140, no_color=True, force_terminal=False)
    with console.capture() as caught:
        console.print(cure_table(found, time_zone=ZONE, units=units))
    return caught.get()


def test_the_table_names_each_protection_gate_and_unit() -> None:
    text = printed(answer(5.0, 80))
    for words in (
        "insulating blankets", "heated enclosure", "Resists one freeze",
        "Wall may carry the", "°F", "2000 psi", "Cost", "570",
    ):  # fmt: skip
        assert words in text, words
    assert "°C" in printed(answer(5.0, 80), "si")


def test_lines_tell_whether_heat_saves_the_slot() -> None:
    told = " ".join(cure_lines(answer(9.0, 24 * 28), time_zone=ZONE))
    assert "kept without buying heat" in told
    lost = " ".join(cure_lines(answer(5.0, 80), time_zone=ZONE))
    assert "no protection keeps the slot; the earliest is" in lost


def test_a_cover_needed_longer_than_the_book_asks_is_said() -> None:
    told = " ".join(cure_lines(answer(-4.0), time_zone=ZONE))
    assert "heated enclosure: keep on until" in told
    assert "longer than the book asks" in told
    assert "insulating blankets: not enough, however long it stays" in told


def test_cautions_and_deference_are_always_there() -> None:
    told = " ".join(cure_lines(answer(5.0, 80), time_zone=ZONE))
    for words in ("Heaters", "from memory", "read the coldest corner", "engineer of record"):
        assert words in told


@pytest.mark.parametrize(("suffix", "start"), [("png", b"\x89PNG"), (".SVG", b"<?xml")])
def test_the_chart_is_drawn_in_both_formats(suffix: str, start: bytes) -> None:
    raw = cure_chart(answer(5.0, 80), time_zone=ZONE, units="us", suffix=suffix)
    assert raw.startswith(start)
    assert len(raw) > 20_000


def test_the_same_answer_gives_the_same_picture() -> None:
    first, second = (
        cure_chart(answer(5.0, 80), time_zone=ZONE, units="si", suffix="svg") for _ in range(2)
    )
    assert first == second
    text = first.decode()
    for words in ("house lifter booked", "wall may carry the lowered house", "coldest corner"):
        assert words in text, words


def test_another_format_is_refused() -> None:
    with pytest.raises(BadInput, match="png or svg"):
        cure_chart(answer(5.0, 80), time_zone=ZONE, units="us", suffix="gif")
    assert chart_suffix("a/b.svg") == "svg"
    assert chart_suffix("plain") == "png"


def test_a_chart_of_work_that_freezes_is_drawn_too() -> None:
    raw = cure_chart(answer(-4.0), time_zone=ZONE, units="us", shown="blanket", suffix="svg")
    assert b"(freezes)" in raw
