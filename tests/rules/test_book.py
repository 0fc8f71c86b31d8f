from __future__ import annotations

import pytest

from rules.book import all_rows, editions, load_book, measures, read_rows, read_table, sources
from rules.book_rows import Measure, Row, Source
from rules.errors import BookFault, Faults
from rules.verdict import Verdict
from rules.words import words

HEAD = """
about = "a page"
source = "common_practice"
[[row]]
id = "trial.row"
clause = "somewhere"
"""
BANDS = 'bands = [{up_to = 40, outcome = "no_go"}, {outcome = "go"}]\n'
FALLING = """bands = [
  {up_to = 9, outcome = "go"}, {up_to = 4, outcome = "go"}, {outcome = "no_go"},
]
"""
NOON = 'taken_as = "min"\nhours = {from = "noon", until = "end"}\nbands ='
WHOLE = HEAD + 'work_types = ["lay_block"]\nquantity = "air_temperature"\nunit = "degF"\n' + BANDS


BOTH = """kind = "kit"
does = "warms"
set_up_h = 1.0
people = 1
cautions = ["fire_near_heater"]
harmless = true
"""


def said(text: str) -> str:
    with pytest.raises(Faults) as caught:
        read_rows("trial.toml", text)
    return "\n".join(caught.value.lines())


def test_a_whole_row_is_read() -> None:
    (row,), orders = read_rows("trial.toml", WHOLE)
    assert (row.id, row.unit, row.sets, orders) == ("trial.row", "degF", ("everywhere",), [])


@pytest.mark.parametrize(
    ("old", "new", "want"),
    [
        ("{up_to = 40,", "{", "bands overlap"),
        ('{outcome = "go"}]', '{up_to = 50, outcome = "go"}]', "bands leave a gap above 50"),
        (BANDS, FALLING, "up_to must rise"),
        (BANDS, "", "a quantity without bands"),
        ('"air_temperature"', '"air_temprature"', "did you mean air_temperature"),
        ('"air_temperature"', '"air.wind_chil"', "is not known"),
        ('"degF"', '"mph"', "air_temperature is a temperature; mph measures speed"),
        ('"degF"', '"degrees"', "unit 'degrees'"),
        ('["lay_block"]', '["lay_blok"]', "did you mean lay_block"),
        ('source = "common_practice"', 'source = "somebody"', "source is 'somebody'"),
        ('clause = "somewhere"', "", "clause: give the clause"),
        ('outcome = "no_go"', 'outcome = "never"', "no outcome"),
        ('outcome = "no_go"', 'outcome = "no_go", measures = ["tent"]', "measures is 'tent'"),
        ('outcome = "no_go"', 'outcome = "no_go", checks = ["look"]', "checks is 'look'"),
        ('outcome = "no_go"', 'outcome = "no_go", cautions = ["care"]', "cautions is 'care'"),
        ('outcome = "no_go"', 'outcome = "no_go", limits = 3', "Extra inputs"),
        ("bands =", 'taken_as = "mean"\nbands =', "taken as mean over which hours"),
        ("bands =", 'hours = {from = "start", until = "end"}\nbands =', "leave hours out"),
        ("bands =", NOON, "no moment"),
        ("bands =", 'when = [{what = "wind_speed", above = 8}]\nbands =', "a bound and no unit"),
        ("bands =", 'when = [{what = "wall.braced"}]\nbands =', "either `is` or a bound"),
        ("bands =", 'seen_on_site = "felt"\nbands =', "hours to come are never seen"),
        ("bands =", 'left_by = "frost"\nbands =', "left_by without seen_on_site"),
        ("bands =", 'sets = ["nowhere"]\nbands =', "sets is 'nowhere'"),
        ("bands =", "bands = [", "no TOML"),
    ],
)  # fmt: skip
def test_a_faulty_row_is_named_with_what_would_be_right(old: str, new: str, want: str) -> None:
    lines = said(WHOLE.replace(old, new))
    assert want in lines
    assert "trial.toml" in lines
    assert "trial.row" in lines or "no TOML" in lines


def test_all_faults_of_a_file_are_told_at_once() -> None:
    second = WHOLE.split("[[row]]")[1].replace("trial.row", "other.row")
    lines = said(
        WHOLE.replace("lay_block", "lay_blok") + "[[row]]" + second.replace("degF", "mph")
    )
    assert "trial.row" in lines
    assert "other.row" in lines


def test_a_fact_row_needs_every_value_once() -> None:
    fact = HEAD + 'work_types = ["scaffold_work"]\nquantity = "scaffold.ice_on_top"\n'
    ice = '{is = true, outcome = "no_go"}'
    read_rows("t", f'{fact}bands = [{ice}, {{is = false, outcome = "go"}}]')
    read_rows("t", f'{fact}bands = [{ice}, {{outcome = "go"}}]')
    assert "leave a gap" in said(f"{fact}bands = [{ice}]")
    assert "each value once" in said(f"{fact}bands = [{ice}, {ice}]")


def test_only_what_past_hours_left_is_seen_on_site() -> None:
    seen = 'seen_on_site = "a bar does not go in"\ntaken_as = "min"\n'
    before = seen + 'hours = {from = "start-24h", until = "start"}\nbands ='
    after = seen + 'hours = {from = "start", until = "end+24h"}\nbands ='
    read_rows("t", WHOLE.replace("bands =", before))
    assert "hours to come are never seen" in said(WHOLE.replace("bands =", after))


def test_an_unknown_edition_names_the_nearest() -> None:
    with pytest.raises(BookFault, match="did you mean tms602-2016"):
        load_book("tms602-2017")


@pytest.mark.parametrize("edition", editions())
def test_every_edition_judges_cold_on_masonry_and_concrete(edition: str) -> None:
    book = load_book(edition)
    for work_type in ("lay_block", "place_grout", "place_footing"):
        cold = [r for r in book.rows_for(work_type) if r.name == "air_temperature"]
        assert any(b.outcome > Verdict.GO for r in cold for b in r.bands), work_type


def test_every_source_has_an_edition_and_every_measure_its_danger() -> None:
    assert all(source.edition for source in sources().values())
    assert set(measures()) == set(words().measures)
    assert all(measure.harmless != bool(measure.cautions) for measure in measures().values())


@pytest.mark.parametrize(
    ("model", "text", "want"),
    [
        (Source, 'title = "A guide"\nkind = "guide"', "tent edition"),
        (Source, 'title = "A guide"\nedition = ""\nkind = "guide"', "tent edition"),
        (Measure, 'kind = "kit"\ndoes = "warms"\nset_up_h = 1.0\npeople = 1', "give its cautions"),
        (Measure, BOTH, "or harmless = true"),
        (Measure, BOTH.replace("1.0", "-1.0"), "set_up_h"),
    ],
)  # fmt: skip
def test_a_source_without_edition_and_a_measure_without_caution_are_named(
    model: type[Source | Measure], text: str, want: str
) -> None:
    with pytest.raises(Faults) as caught:
        read_table("trial.toml", f"[tent]\n{text}", model)
    (line,) = caught.value.lines()
    assert line.startswith("trial.toml: tent")
    assert want in line


def test_rows_from_memory_say_so() -> None:
    marked = [row for row in all_rows()[0] if "from memory" in row.clause]
    assert marked
    assert all(row.verify for row in marked)


def test_every_source_that_rows_name_is_used_and_every_set_is_held() -> None:
    rows, orders = all_rows()
    named = {item.source for item in (*rows, *orders)}
    assert named <= set(sources())
    held = {name for edition in editions().values() for name in edition.sets}
    empty = held - {name for item in (*rows, *orders) for name in item.sets}
    assert empty == {"us", "unit-strength-2011", "unit-strength-2013-on"}


def test_no_row_is_milder_than_it_is_safe() -> None:
    """Wind on lifting and fresh walls, and frost, end in a refusal or a protection."""
    for row in all_rows()[0]:
        if row.quantity in {"wind_speed_of_gust", "wind_speed"}:
            assert max(band.outcome for band in row.bands) > Verdict.GO, row.id
            assert row.bands[-1].outcome == max(band.outcome for band in row.bands), row.id


def test_a_row_is_frozen() -> None:
    row: Row = all_rows()[0][0]
    with pytest.raises(Exception, match="frozen"):
        row.id = "other"
