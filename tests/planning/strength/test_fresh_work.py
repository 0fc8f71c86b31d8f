"""From the job's words to the wall model's section, mix and covers."""

from __future__ import annotations

import pytest

from rules.errors import OutOfRange
from rules.hydration import BLENDED, TYPE_I_II
from scheduler.planning.model.job import Task
from scheduler.planning.strength.fresh_work import fresh_work, protection, warmest_protection


def task(work_type: str, **element: object) -> Task:
    return Task("t", "t", work_type, 4.0, element=element)


def test_grout_in_a_wall_is_a_grouted_block_wall() -> None:
    found = fresh_work(task("place_grout", thickness_m=0.2032, cement="type_i_ii"))
    assert found is not None
    assert found.section.name.startswith("8 in. block wall")
    assert found.hydration is TYPE_I_II
    assert found.specified_mpa == pytest.approx(13.79, abs=0.01)
    assert found.placed_c == 10.0


def test_actual_and_nominal_thickness_name_the_same_block() -> None:
    for thickness in (0.3048, 0.295, 0.30):
        found = fresh_work(task("place_grout", thickness_m=thickness))
        assert found is not None
        assert found.section.name.startswith("12 in.")
    with pytest.raises(OutOfRange, match="not in the book"):
        fresh_work(task("place_grout", thickness_m=0.4))


def test_heated_grout_is_placed_at_seventy_and_a_stated_figure_wins() -> None:
    warm = fresh_work(task("place_grout"), on_hand=["heat_grout", "heat_concrete"])
    said = fresh_work(task("place_grout", placed_c=16.0), on_hand=["heat_grout"])
    assert warm is not None
    assert said is not None
    assert (warm.placed_c, said.placed_c) == (21.1, 16.0)


def test_footing_slab_and_top_course_have_their_own_sections() -> None:
    foot = fresh_work(task("place_footing", section_m=0.25, cement="type_ip", strength_mpa=20.0))
    flat = fresh_work(task("place_slab", thickness_m=0.1))
    top = fresh_work(task("fill_top_course"))
    assert foot is not None
    assert flat is not None
    assert top is not None
    assert foot.section.name.startswith("250 mm concrete")
    assert foot.hydration is BLENDED
    assert foot.specified_mpa == 20.0
    assert flat.section.level
    assert "bond beam" in top.section.name


def test_mortar_alone_is_left_to_the_book() -> None:
    assert fresh_work(task("lay_block")) is None
    assert fresh_work(task("set_windows")) is None
    assert fresh_work(task("lay_block", grouted=True)) is not None


def test_the_warmest_measure_on_hand_protects() -> None:
    assert warmest_protection(["insulating_blankets", "weather_resistive_cover"]).name == "blanket"
    assert warmest_protection(["heated_enclosure", "insulating_blankets"]).name == "enclosure"
    assert warmest_protection(["heat_sand"]).name == "bare"
    assert protection("enclosure", air_c=15.0).covers[0].air_c == 15.0
    assert protection("blanket", kind="concrete").hours == (72,)
