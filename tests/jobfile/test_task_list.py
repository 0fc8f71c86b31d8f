"""Task lists of spreadsheets: round trips, what people write, and faults by cell."""

from __future__ import annotations

from pathlib import Path

import pytest

import scheduler.jobfile
from rules.errors import Faults
from scheduler.cli import main
from scheduler.jobfile.task_list.columns import COLUMNS
from scheduler.jobfile.task_list.links import links_of, links_text
from scheduler.jobfile.task_list.sheet import tasks_of
from tests.demo_job import DEMO, demo_job

JOBS = ["demo", "raised_house", "stem_wall", "repair", "addition"]


@pytest.mark.parametrize("name", JOBS)
def test_a_list_written_and_read_back_changes_nothing(tmp_path: Path, name: str) -> None:
    path = tmp_path / "job.yaml"
    if name == "demo":
        path = demo_job(tmp_path)
    else:
        made = ["--kind", name, "--start", "2026-09-14", "--out", str(path)]
        assert main(["new", "--defaults", *made]) == 0
    listed, back = tmp_path / "tasks.csv", tmp_path / "back.yaml"
    assert main(["tasks", str(path), "--out", str(listed)]) == 0
    assert main(["tasks", str(path), "--read", str(listed), "--to", str(back)]) == 0
    assert back.read_text(encoding="utf-8") == path.read_text(encoding="utf-8")


MESSY = """\
\ufeffTask name;Work;Duration;Who;Depends on;Earliest Start;Status;Colour
Frame, and more;Framing;1,5 days;carpenters;;9/16/2026 8:00 AM;;red
Sheathe it;sheathe;90 min;carpenters;frame__and_more + 1 day;16 Sep 2026;to do;

;;;;;;;
'=odd;framing;4 hrs;carpenters; sheathe_it start + 2 h ;;;
"""


def test_what_people_write_is_read() -> None:
    """By hand: 1.5 days of 8 h are 12; a day's wait is 24 h; US slashes are month first."""
    text = MESSY.replace("frame__and_more", "frame_and_more")
    first, second, third = tasks_of(text.encode(), file="list.csv", us=True)
    assert first == {
        "id": "frame_and_more", "name": "Frame, and more", "work_type": "framing",
        "duration_h": 12.0, "crew": ["carpenters"], "not_before": "2026-09-16T08:00",
    }  # fmt: skip
    assert second["duration_h"] == 1.5
    assert second["after"] == [{"task": "frame_and_more", "wait_h": 24.0}]
    assert second["not_before"] == "2026-09-16"
    assert third["name"] == "=odd"
    assert third["after"] == [{"task": "sheathe_it", "kind": "start_start", "wait_h": 2.0}]


@pytest.mark.parametrize(
    ("text", "us", "day"),
    [("11/20/2026", True, "2026-11-20"), ("20/11/2026", False, "2026-11-20"),
     ("20.11.2026", True, "2026-11-20"), ("Nov 20, 2026", True, "2026-11-20"),
     ("20 November 2026", False, "2026-11-20"), ("2026-11-20 16:30", False, "2026-11-20T16:30"),
     ("2026-11-20T16:30", True, "2026-11-20T16:30"),
     ("11/20/2026 4:30 pm", True, "2026-11-20T16:30"),
     ("11/20/2026 12:15 AM", True, "2026-11-20T00:15")],
)  # fmt: skip
def test_days_as_people_write_them(text: str, us: bool, day: str) -> None:
    read = next(column.read for column in COLUMNS if column.key == "not_before")
    assert read(text, us) == day


BAD = {
    "hours": ("six", "cell B2 (duration_h) is 'six'"),
    "not_before": ("31.02.2026", "cell B2 (not_before) is '31.02.2026'"),
    "after": ("lay & grout", "cell B2 (after) is 'lay & grout'"),
    "may_pause": ("perhaps", "want yes or no"),
    "state": ("half", "want to do, under way or done"),
    "amount": ("many", "want a number"),
}


@pytest.mark.parametrize("column", BAD)
def test_faults_name_the_cell(column: str) -> None:
    cell, said = BAD[column]
    with pytest.raises(Faults) as raised:
        tasks_of(f"id,{column},work_type\na,{cell},framing\n".encode(), file="l.csv", us=False)
    lines = raised.value.lines()
    assert len(lines) == 1
    assert lines[0].startswith("l.csv:2: ")
    assert said in lines[0]


@pytest.mark.parametrize(
    ("text", "said"),
    [("id,hours\na,3\n", "work_type"), ("", "header"), ("id,work_type\n", "a row for each task"),
     ("id,id,work_type\na,b,framing\n", "twice"), ("id,work_type\na,lay blok\n", "lay_block"),
     ("id,work_type\na,\n", "say the kind of work")],
)  # fmt: skip
def test_lists_that_are_none(text: str, said: str) -> None:
    with pytest.raises(Faults) as raised:
        tasks_of(text.encode(), file="l.csv", us=False)
    assert said in "\n".join(raised.value.lines())


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_lines_end_as_they_do_on_any_system(end: str) -> None:
    """RFC 4180 has CR LF; a lone carriage return ends the lines of some old programs."""
    text = end.join(["id;work_type;name", "a;framing;Sill", "b;framing;Studs", ""])
    tasks = tasks_of(text.encode(), file="l.csv", us=False)
    assert [task["name"] for task in tasks] == ["Sill", "Studs"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("id,work_type,name\na,framing,Sill\0\n", "take out U+0000"),
        ("id,work_type,name\na,framing,Si\x07ll\n", "take out U+0007"),
        ("id,work_type,name\na,framing," + "x" * 200_000 + "\n", "save it as CSV"),
    ],
)
def test_what_no_cell_holds_is_told_with_its_line(text: str, said: str) -> None:
    with pytest.raises(Faults) as raised:
        tasks_of(text.encode(), file="l.csv", us=False)
    (line,) = raised.value.lines()
    assert line.startswith("l.csv:2: ")
    assert said in line


def test_bytes_that_are_no_text() -> None:
    with pytest.raises(Faults, match="UTF-8"):
        tasks_of("id;work_type\nK\xfcche;framing".encode("latin-1"), file="l.csv", us=False)


LINKS = [
    "lay", {"task": "grout", "wait_h": 24.0}, {"task": "cut", "wait_working_h": 4.0},
    {"task": "a", "kind": "start_start", "wait_h": 2.0}, {"task": "mix", "within_h": 6.0},
    {"task": "top", "gate": {"share": 0.7, "wait_h": 72.0, "purpose": "lower_house"}},
]  # fmt: skip


def test_links_go_out_and_come_back() -> None:
    text = links_text(LINKS)
    assert text == (
        "lay; grout + 24 h; cut + 4 working h; a start + 2 h; mix within 6 h; "
        "top at 70% + 72 h for lower_house"
    )
    assert links_of(text) == LINKS


def test_a_changed_list_changes_the_job_and_keeps_what_has_no_column(tmp_path: Path) -> None:
    path = demo_job(tmp_path)
    listed, back = tmp_path / "tasks.csv", tmp_path / "back.yaml"
    assert main(["tasks", str(path), "--out", str(listed)]) == 0
    text = listed.read_text(encoding="utf-8")
    text = text.replace("Lay three courses,lay_block,13", "Lay four courses,lay_block,17")
    listed.write_text(text + "paint,Paint,paint_exterior,6,,,,carpenters,seal\n", encoding="utf-8")
    assert main(["tasks", str(path), "--read", str(listed), "--to", str(back)]) == 0
    job = scheduler.jobfile.read(back)
    before = scheduler.jobfile.read(path)
    assert job.task("lay").duration_h == 17
    assert job.task("lay").element == before.task("lay").element
    assert job.task("lower").appointment == before.task("lower").appointment
    assert [link.task for link in job.task("paint").after] == ["seal"]


def test_a_wrong_list_writes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path, back = demo_job(tmp_path), tmp_path / "back.yaml"
    listed = tmp_path / "tasks.csv"
    listed.write_text("id,work_type,hours,after\na,framing,4,nobody\n", encoding="utf-8")
    assert main(["tasks", str(path), "--read", str(listed), "--to", str(back)]) == 2
    assert "nobody" in capsys.readouterr().err
    assert not back.exists()


def test_the_page_names_every_column() -> None:
    page = (DEMO.parents[1] / "scheduler/jobfile/TASKLIST.md").read_text(encoding="utf-8")
    assert all(f"`{column.key}`" in page for column in COLUMNS)
