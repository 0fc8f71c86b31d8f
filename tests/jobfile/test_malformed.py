"""Job files with one slip each (slips.toml): exactly these lines are printed, with their place."""

from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path

import pytest

from rules.errors import Faults, JobFileFault
from scheduler.jobfile import parse

GIVEN = tomllib.loads(Path(__file__).with_name("slips.toml").read_text(encoding="utf-8"))
BASE: str = GIVEN["base"]
SLIPS = {slip["name"]: (slip["stands"], slip["instead"], slip["lines"]) for slip in GIVEN["slip"]}


def test_the_base_itself_is_fine() -> None:
    assert parse(BASE).task("grout").after[0].wait_h == 24.0


@pytest.mark.parametrize(("stands", "instead", "lines"), SLIPS.values(), ids=list(SLIPS))
def test_a_slip_is_told_in_one_line_with_its_place(
    stands: str, instead: str, lines: list[str]
) -> None:
    assert stands == "" or BASE.count(stands) == 1
    text = BASE.replace(stands, instead) if stands else instead
    with pytest.raises(Faults) as caught:
        parse(text)
    assert caught.value.lines() == [f"job.yaml:{line}" for line in lines]
    assert all(isinstance(fault, JobFileFault) for fault in caught.value.faults)
    assert caught.value.exit_code == 2


def test_every_slip_of_a_file_is_told_at_once_in_order_of_lines() -> None:
    together = [
        "another format", "a latitude beyond the pole", "an unknown zone", "a shift backwards",
        "an unknown measure", "an unknown work type", "an unknown crew", "an unknown predecessor",
    ]  # fmt: skip
    text = BASE
    for name in together:
        stands, instead, _ = SLIPS[name]
        text = text.replace(stands, instead)
    with pytest.raises(Faults) as caught:
        parse(text)
    wanted = [f"job.yaml:{line}" for name in together for line in SLIPS[name][2]]
    assert caught.value.lines() == wanted


def test_a_fault_carries_its_data() -> None:
    with pytest.raises(Faults) as caught:
        parse(BASE.replace("duration_h: 12", "duration_h: twelve"), file="north.yaml")
    (fault,) = caught.value.faults
    assert isinstance(fault, JobFileFault)
    assert (fault.file, fault.line, fault.column) == ("north.yaml", 14, 17)
    assert (fault.field, fault.value) == ("tasks.lay.duration_h", "twelve")


def test_two_rings_of_tasks_are_printed_apart() -> None:
    tasks = "".join(
        f"  - {{id: {name}, work_type: lay_block, duration_h: 1, after: [{before}]}}\n"
        for name, before in [
            ("a", "c"), ("b", "a"), ("c", "b, e"), ("d", "d"), ("e", ""), ("f", "d"),
        ]
    )  # fmt: skip
    with pytest.raises(Faults) as caught:
        parse(BASE[: BASE.index("tasks:")] + "tasks:\n" + tasks)
    assert [line.split(";")[0] for line in caught.value.lines()] == [
        "job.yaml:12:50: tasks.a.after is a → b → c → a",
        "job.yaml:15:50: tasks.d.after is d → d",
    ]


def test_a_region_nobody_knows_is_refused_and_a_known_one_gives_its_days() -> None:
    season = "units: us\nseason_end: 2026-12-31\nholidays: "
    with pytest.raises(Faults, match=r"job.yaml:7:11: holidays is 'Norge'; no such country"):
        parse(BASE.replace("units: us", f"{season}Norge"))
    with pytest.raises(Faults, match="no such part of US"):
        parse(BASE.replace("units: us", f"{season}US-NX"))
    with pytest.raises(Faults, match="give season_end too"):
        parse(BASE.replace("units: us", "units: us\nholidays: US-NY"))
    days = parse(BASE.replace("units: us", f"{season}US-NY")).calendar.days_off
    assert date(2026, 11, 26) in days  # Thanksgiving: 5 U.S.C. 6103, fourth Thursday of November
    assert date(2027, 1, 1) in days
    assert date(2026, 11, 27) not in days
