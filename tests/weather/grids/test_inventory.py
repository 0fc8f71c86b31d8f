"""Inventory lines are matched by variable, level and interval, and told where they are wrong."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.errors import Faults
from scheduler.weather.grids.inventory import Entry, read_inventory, wanted
from tests.recorded_data import recorded, recorded_files


def chosen(text: str, without: set[str] | None = None) -> dict[str, str]:
    """Return the labels that would be fetched, by column."""
    found: dict[str, str] = {}
    for entry in wanted(read_inventory(text, "x.idx"), without or set()):
        assert entry.row is not None
        assert entry.row.column not in found, "each column once"
        found[entry.row.column] = entry.label
    return found


def lines(*labels: str) -> str:
    return "\n".join(f"{n + 1}:{1000 * n}:d=2026112006:{label}:" for n, label in enumerate(labels))


def test_level_and_interval_decide_not_the_variable() -> None:
    text = lines(
        "TMP:surface:5 hour fcst",
        "TMP:2 m above ground:5 hour fcst",
        "TMP:500 mb:5 hour fcst",
        "APCP:surface:0-5 hour acc fcst",
        "APCP:surface:4-5 hour acc fcst",
        "UGRD:10 m above ground:5 hour fcst",
        "UGRD:80 m above ground:5 hour fcst",
        "VGRD:10 m above ground:5 hour fcst",
        "WIND:10 m above ground:4-5 hour max fcst",
    )
    assert chosen(text) == {
        "surface_temperature_c": "TMP:surface:5 hour fcst",
        "air_temperature_c": "TMP:2 m above ground:5 hour fcst",
        "precipitation_amount_mm": "APCP:surface:4-5 hour acc fcst",
        "eastward_wind": "UGRD:10 m above ground:5 hour fcst",
        "northward_wind": "VGRD:10 m above ground:5 hour fcst",
    }


def test_spread_percentiles_and_other_chances_stay_where_they_are() -> None:
    text = lines(
        "TMP:2 m above ground:3 hour fcst",
        "TMP:2 m above ground:3 hour fcst:ens std dev",
        "TMP:2 m above ground:3 hour fcst:10% level",
        "APCP:surface:2-3 hour acc fcst:prob >0.254:prob fcst 255/255",
        "APCP:surface:2-3 hour acc fcst:prob >2.54:prob fcst 255/255",
        "APCP:surface:2-3 hour acc fcst",
        "TSTM:surface:2-3 hour acc fcst:probability forecast",
    )
    assert chosen(text) == {
        "air_temperature_c": "TMP:2 m above ground:3 hour fcst",
        "precipitation_probability_pct": (
            "APCP:surface:2-3 hour acc fcst:prob >0.254:prob fcst 255/255:"
        ),
        "precipitation_amount_mm": "APCP:surface:2-3 hour acc fcst",
        "thunderstorm_probability_pct": ("TSTM:surface:2-3 hour acc fcst:probability forecast:"),
    }


def test_one_label_twice_is_fetched_once() -> None:
    text = lines("APCP:surface:0-6 hour acc fcst", "APCP:surface:0-6 hour acc fcst")
    assert list(chosen(text)) == ["precipitation_amount_mm"]


def test_a_sum_over_no_time_is_left() -> None:
    assert chosen(lines("APCP:surface:0-0 day acc fcst")) == {}


def test_members_of_one_file_are_all_fetched() -> None:
    text = lines(
        "TMP:2 m above ground:3 hour fcst:ENS=low-res ctl",
        "TMP:2 m above ground:3 hour fcst:ENS=+1",
        "TMP:2 m above ground:3 hour fcst:ENS=+2",
    )
    assert len(wanted(read_inventory(text, "x"))) == 3


def test_lengths_run_to_the_next_message_even_past_parts_of_one() -> None:
    text = (
        "1.1:0:d=2026112006:UGRD:10 m above ground:1 hour fcst:\n"
        "1.2:0:d=2026112006:VGRD:10 m above ground:1 hour fcst:\n"
        "2:900:d=2026112006:TMP:2 m above ground:1 hour fcst:\n"
    )
    entries = read_inventory(text, "x")
    assert [(e.number, e.offset, e.length) for e in entries] == [
        ("1.1", 0, 900), ("1.2", 0, 900), ("2", 900, None),
    ]  # fmt: skip


def european(offset: int, length: int, **told: str) -> str:
    plain = {"type": "fc", "step": "6", "levtype": "sfc", "param": "2t"}
    return json.dumps({**plain, **told, "_offset": offset, "_length": length})


def test_the_european_inventory() -> None:
    lines_told = [
        european(0, 10),
        european(10, 10, levtype="pl", levelist="850"),
        european(40, 9, param="tp"),
        european(60, 10, type="pf", number="7"),
        european(80, 9, type="es"),
    ]
    text = "\n".join(lines_told)
    got = wanted(read_inventory(text, "x.index"))
    assert [(e.label, e.member, e.offset, e.length) for e in got] == [
        ("2t:sfc:6", "", 0, 10), ("tp:sfc:6", "", 40, 9), ("2t:sfc:6", "7", 60, 10),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("", "empty"),
        ("<html>no such file</html>", "line is '<html>no such"),
        (lines("TMP:2 m above ground:1 hour fcst") + "\n2:1000:d=2026", "x.idx:2: line"),
        ('{"param": "2t"}', "want number"),
        ('{"param": "2t", "levtype": "sfc", "_offset": 5, "_length": 0}', "want number"),
        ("2:900:d=2026112006:A:b:anl:\n1:0:d=2026112006:A:b:anl:", "out of order"),
    ],
)
def test_what_is_no_inventory_is_told_with_its_line(text: str, what: str) -> None:
    with pytest.raises(Faults, match=what):
        read_inventory(text, "x.idx")


def test_many_bad_lines_are_told_by_the_first_few() -> None:
    with pytest.raises(Faults) as refused:
        read_inventory("nonsense\n" * 700, "x.idx")
    assert len(refused.value.lines()) == 5


@given(st.text(alphabet='0123456789:d=.-TMPAC hourfcst\n{}"_', max_size=200))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        entries = read_inventory(text, "x.idx")
    except Faults:
        return
    assert all(isinstance(entry, Entry) for entry in entries)


@pytest.mark.parametrize("path", recorded_files("idx", "*.idx"), ids=lambda p: p.name)
def test_every_recorded_inventory_is_read(path) -> None:
    entries = read_inventory(path.read_text(), path.name)
    assert len(entries) == len(path.read_text().splitlines())
    columns = [e.row.column for e in wanted(entries) if e.row is not None]
    assert "air_temperature_c" in columns
    if "gefs" not in path.name:
        assert "eastward_wind" in columns


def test_rain_of_the_recorded_inventories() -> None:
    def rain(name: str) -> list[str]:
        entries = read_inventory(recorded("idx", name).read_text(), name)
        return [e.label for e in wanted(entries) if e.row and e.row.column.startswith("precip")]

    assert rain("hrrr-sfc-2022101409-f005.idx") == ["APCP:surface:4-5 hour acc fcst"]
    assert rain("gfs-0p25-2022101406-f021.idx") == ["APCP:surface:18-21 hour acc fcst"]
    assert rain("gfs-0p25-2023092800-f006-partial100.idx") == ["APCP:surface:0-6 hour acc fcst"]
    assert rain("gfs-0p25-2025080100-f000.idx") == []
    assert rain("hrrr-sfc-2025080100-f000.idx") == []
    assert rain("gefs-mean-0p25-2025080100-f009.idx") == [
        "APCP:surface:6-9 hour acc fcst:ens mean"
    ]
    assert len(rain("hrrr-subhourly-2022101403-f009.idx")) == 4


def test_a_recorded_inventory_fits_its_file() -> None:
    name = "gfswave-atlocn-0p16-2023082318-f001.grib2"
    content = recorded("grib2", name).read_bytes()
    entries = read_inventory(recorded("grib2", f"{name}.idx").read_text(), name)
    assert all(content[e.offset : e.offset + 4] == b"GRIB" for e in entries)
    ends = [e.offset + e.length for e in entries if e.length]
    assert all(content[end - 4 : end] == b"7777" for end in ends)
