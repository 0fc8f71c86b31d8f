"""What is said twice on a command line is taken whole, or refused in one line."""

from __future__ import annotations

from pathlib import Path

import pytest
import typer.main

from scheduler.cli import app, main
from scheduler.commands.repeats import in_turn, spelled_out
from scheduler.planning.model.log import Entry, EntryKind
from scheduler.store.sql_store import SqlStore
from tests.demo_job import demo_job

AT = "2026-11-09T06:00"
COMMANDS = typer.main.get_command(app).commands  # type: ignore[attr-defined]
OPTIONS = [
    (name, option)
    for name, command in COMMANDS.items()
    for option in command.params
    if option.param_type_name == "option" and not option.is_flag
]
SEVERAL = {("log", f"--{name}") for name in ("started", "finished", "hours-left", "reading")}
SEVERAL |= {("log", f"--{name}") for name in ("fact", "release", "note", "undo")}
SEVERAL |= {("serve", "--forget"), ("account", "--may-release")}


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return demo_job(tmp_path)


def logged(job: Path, *told: str) -> tuple[int, tuple[Entry, ...]]:
    store = job.with_name("told.db")
    code = main(["log", str(job), *told, "--no-plan", "--at", AT, "--store", str(store)])
    if not store.exists():
        return code, ()
    read = SqlStore(str(store))
    return code, tuple(entry for name in read.jobs() for entry in read.entries(name))


def test_options_that_hold_one_value_are_told_from_those_for_several() -> None:
    assert {(name, one.opts[0]) for name, one in OPTIONS if one.multiple} == SEVERAL


@pytest.mark.parametrize(
    ("command", "option"),
    [pytest.param(name, one, id=f"{name}{one.opts[0]}") for name, one in OPTIONS],
)
def test_an_option_of_one_value_given_twice_is_refused_in_one_line(
    command: str,
    option: object,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    said, width = option.opts[0], option.nargs  # type: ignore[attr-defined]
    if (command, said) in SEVERAL:
        return
    once = [said, *["1"] * width]
    assert main([command, "job.yaml", *once, f"{said}=2", *["2"] * (width - 1)]) == 2
    assert capsys.readouterr().err == (
        f"closein: {said} holds one value and is given twice; give it once\n"
    )


def test_everything_that_happened_to_several_is_written_down(job: Path) -> None:
    code, entries = logged(
        job, "--started=lay", "--finished", "dowels", "--hours-left", "seal", "12",
        "--reading", "air_temperature", "-3", "degC", "--finished=raise", "--started", "sill",
        "--hours-left=flash", "2.5", "--reading=air_temperature", "41", "degF",
        "--finished", "cut", "--note", "--reading", "--note", "two = 2",
        "--place", "north wall", "--undo", "1", "--undo", "2",
    )  # fmt: skip
    assert code == 0
    told = {kind: [one for one in entries if one.kind is kind] for kind in EntryKind}
    assert [one.task for one in told[EntryKind.FINISHED]] == ["dowels", "raise", "cut"]
    assert [one.task for one in told[EntryKind.STARTED]] == ["lay", "sill"]
    assert [(one.task, one.hours) for one in told[EntryKind.PROGRESS]] == [
        ("seal", 12.0),
        ("flash", 2.5),
    ]
    read = [(one.reading.value, one.reading.unit) for one in entries if one.reading]
    assert read == [(-3.0, "degC"), (41.0, "degF")]
    assert [one.text for one in told[EntryKind.NOTE]] == ["--reading", "two = 2"]
    assert [one.payload["seq"] for one in told[EntryKind.UNDO]] == [1, 2]


def test_of_several_of_which_one_is_wrong_none_is_written(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert logged(job, "--finished", "raise", "--finished", "roof") == (2, ())
    assert "task is 'roof'; no such task" in capsys.readouterr().err
    assert logged(job, "--hours-left", "lay", "2", "--hours-left", "cut", "much") == (2, ())
    assert "hours_left is 'much'" in capsys.readouterr().err


@pytest.mark.parametrize(
    "told",
    [
        ["--reading", "air_temperature", "41", "degF", "--reading", "air_temperature", "41"],
        ["--hours-left", "lay"],
        ["--release=raise"],
    ],
)
def test_a_value_that_is_lacking_is_named_with_what_is_wanted(
    job: Path, told: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    # the job's own options stand before, so that nothing behind fills the gap
    assert main(["log", str(job), "--no-plan", "--at", AT, *told]) == 2
    assert " takes " in capsys.readouterr().err


def test_a_line_with_nothing_for_several_is_left_as_it_is() -> None:
    every = {name: one for c, one in OPTIONS for name in one.opts if c == "log"}
    line = ["job.yaml", "--who=A. Ryd", "--json", "--note", "", "--", "--who", "--who"]
    expected = ["job.yaml", "--who", "A. Ryd", "--json", "--note=", "--", "--who", "--who"]
    assert spelled_out(line, every) == expected
    assert in_turn(["a", "b", "c", "d"], 2) == [("a", "b"), ("c", "d")]
    assert in_turn(None, 2) == []
