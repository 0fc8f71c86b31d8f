from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from rules.errors import Faults, LogRefused
from scheduler.jobfile import entries_of, read
from scheduler.planning.model.job import Job
from scheduler.planning.model.log import Entry, EntryKind, Fact, Reading

WHOLE = Path(__file__).with_name("whole.yaml")
NOW = datetime(2026, 11, 10, 17, tzinfo=UTC)  # noon at the site


@pytest.fixture(scope="module")
def job() -> Job:
    return read(WHOLE)


def take(job: Job, *given: Mapping[str, Any], log: tuple[Entry, ...] = ()) -> tuple[Entry, ...]:
    return entries_of(given, job=job, log=log, now=NOW)


def refused(job: Job, *given: Mapping[str, Any], log: tuple[Entry, ...] = ()) -> list[str]:
    with pytest.raises(Faults) as caught:
        take(job, *given, log=log)
    assert all(isinstance(fault, LogRefused) for fault in caught.value.faults)
    assert caught.value.exit_code == 2
    return caught.value.lines()


def test_each_kind_makes_the_entry_that_planning_reads(job: Job) -> None:
    entries = take(
        job,
        {"kind": "started", "task": "lay", "when": "2026-11-10T07:00", "who": "Ada"},
        {"kind": "progress", "task": "lay", "hours_left": 9.5},
        {"kind": "lost", "hours": 3, "cause": "rain", "from": "2026-11-10T07:00-05:00",
         "until": "2026-11-10T10:00", "crew": "masons"},
        {"kind": "reading", "quantity": "unit_core_temperature", "value": 35, "unit": "degF",
         "place": "pallet", "when": "2026-11-10T08:00"},
        {"kind": "fact", "element": "wall", "condition": "height", "value": 9.33, "unit": "ft"},
        {"kind": "release", "task": "lower", "role": "engineer", "who": "B. Ruhl"},
        {"kind": "finished", "task": "lay", "when": "2026-11-10T11:30"},
        {"kind": "note", "text": "truck late"},
    )  # fmt: skip
    seven = datetime(2026, 11, 10, 12, tzinfo=UTC)
    assert [e.kind for e in entries] == [
        EntryKind.STARTED, EntryKind.PROGRESS, EntryKind.LOST, EntryKind.READING, EntryKind.FACT,
        EntryKind.RELEASE, EntryKind.FINISHED, EntryKind.NOTE,
    ]  # fmt: skip
    assert [e.seq for e in entries] == list(range(1, 9))
    assert {e.entered_at for e in entries} == {NOW}
    assert (entries[0].at, entries[0].who) == (seven, "Ada")
    assert (entries[1].hours, entries[1].at) == (9.5, NOW)
    assert entries[2].payload == {
        "crew": "masons", "from": seven, "until": seven + timedelta(hours=3),
    }  # fmt: skip
    assert entries[3].reading == Reading(
        "unit_core_temperature", 35.0, "degF", "pallet", at=seven + timedelta(hours=1)
    )
    assert entries[4].fact == Fact("wall", "height", 9.33, "ft")
    assert entries[5].payload == {"role": "engineer"}
    assert entries[7].text == "truck late"


def test_a_day_of_the_record_is_hours_lost_with_what_was_measured(job: Job) -> None:
    (entry,) = take(
        job,
        {"kind": "day", "date": "2026-11-09", "scheduled_h": 8, "lost_h": 5, "cause": "rain",
         "critical": False, "precipitation_amount_in": 0.4, "note": "mud"},
    )  # fmt: skip
    assert (entry.kind, entry.hours, entry.cause, entry.text) == (
        EntryKind.LOST,
        5.0,
        "rain",
        "mud",
    )
    assert entry.payload == {
        "date": date(2026, 11, 9), "scheduled_h": 8.0, "critical": False,
        "precipitation_amount_in": 0.4,
    }  # fmt: skip


def test_words_and_numbers_are_taken_as_written_or_spoken(job: Job) -> None:
    entries = take(
        job,
        {"kind": "reading", "quantity": "surface_dry", "value": "yes", "unit": "yes_no"},
        {"kind": "fact", "element": "wall", "condition": "braced", "value": True},
        {"kind": "fact", "element": "footing", "condition": "loaded_from", "value": "2026-11-14"},
        {"kind": "reading", "quantity": "grout_temperature", "value": "50", "unit": "degF",
         "from": "2026-11-09T08:00", "until": "2026-11-10T08:00", "taken_as": "min"},
    )  # fmt: skip
    assert entries[0].reading is not None
    assert entries[0].reading.value is True
    assert entries[1].fact is not None
    assert entries[1].fact.value is True
    assert entries[2].fact is not None
    assert entries[2].fact.value == "2026-11-14"
    span = entries[3].reading
    assert span is not None
    assert (span.at, span.taken_as, entries[3].at) == (None, "min", span.end)


LAY = {"kind": "started", "task": "lay", "when": "2026-11-10T07:00"}
DONE = {"kind": "finished", "task": "lay", "when": "2026-11-10T10:00"}
READ = {"kind": "reading", "quantity": "air_temperature", "value": 40, "unit": "degF"}

REFUSED: dict[str, tuple[Mapping[str, Any], str]] = {
    "no text": ({"kind": "note", "text": "a\0b"}, "take out U+0000, no text has it"),
    "no place": ({**READ, "place": "north\x1bend"}, "take out U+001B"),
    "no word": (
        {"kind": "fact", "element": "trench", "condition": "water_in", "value": "a\x07"},
        "take out U+0007",
    ),
    "unknown kind": ({"kind": "readin"}, "did you mean reading?"),
    "no kind": ({"task": "lay"}, "kind is missing"),
    "unknown task": ({**LAY, "task": "lai"}, "task is 'lai'; no such task; did you mean lay?"),
    "future": ({**LAY, "when": "2026-11-10T12:01"}, "that has not come yet"),
    "unknown key": ({**LAY, "whn": "x"}, "whn is an unknown key; did you mean when?"),
    "hours left": ({"kind": "progress", "task": "lay", "hours_left": 3000}, "at most 2000"),
    "no hours left": ({"kind": "progress", "task": "lay", "hours_left": 0}, "hours above 0"),
    "hours lost": ({"kind": "lost", "hours": 25, "cause": "rain"}, "at most 24"),
    "cause": ({"kind": "lost", "hours": 2, "cause": "rian"}, "did you mean rain?"),
    "lost span": (
        {"kind": "lost", "hours": 2, "cause": "rain", "from": "2026-11-10T09:00",
         "until": "2026-11-10T08:00"}, "give a moment after from",
    ),
    "quantity": ({**READ, "quantity": "air_temp"}, "did you mean air_temperature?"),
    "unit": ({**READ, "unit": "mph"}, "measures"),
    "unknown unit": ({**READ, "unit": "F"}, "no such unit"),
    "value": ({**READ, "value": "warm"}, "give a number, or yes or no"),
    "yes for a number": ({**READ, "value": True}, "give a number of degF"),
    "number for a yes": ({**READ, "quantity": "surface_dry", "value": 3}, "give yes or no"),
    "slip of unit": ({**READ, "value": 288, "unit": "degC"}, "cannot be true"),
    "not finite": ({**READ, "value": "nan"}, "give a number, or yes or no"),
    "reading span": (
        {**READ, "from": "2026-11-10T09:00", "until": "2026-11-10T09:00"}, "a moment after from",
    ),
    "element": (
        {"kind": "fact", "element": "wal", "condition": "braced", "value": 1}, "mean wall?",
    ),
    "condition": (
        {"kind": "fact", "element": "wall", "condition": "brased", "value": 1},
        "no such condition of wall; did you mean braced?",
    ),
    "role": ({"kind": "release", "task": "lay", "role": "engeneer", "who": "A"}, "engineer?"),
    "nobody": ({"kind": "release", "task": "lay", "role": "engineer"}, "who is missing"),
    "undo of nothing": ({"kind": "undo", "seq": 1}, "the log has no entry yet"),
    "clock change": ({**LAY, "when": "2026-11-01T01:30"}, "comes twice; say"),
}  # fmt: skip


@pytest.mark.parametrize(("given", "says"), REFUSED.values(), ids=list(REFUSED))
def test_what_cannot_be_is_refused(job: Job, given: Mapping[str, Any], says: str) -> None:
    lines = refused(job, given)
    assert len(lines) == 1, lines
    assert says in lines[0]
    assert lines[0].startswith("log: ")


@pytest.mark.parametrize(
    ("when", "microsecond"),
    [
        ("2026-11-10T12:00:07.123Z", 123_000),  # ECMA-262, Date.prototype.toISOString
        ("2026-11-10T07:00:07.52-05:00", 520_000),  # RFC 3339, 5.6: time-secfrac
        ("2026-11-10T07:00:07,25", 250_000),  # ISO 8601-1:2019, 5.3.1.4: comma or full stop
        ("2026-11-10T12:00:07.123456+00:00", 123_456),  # as Closein writes one down itself
        ("2026-11-10T12:00:07.1234567Z", 123_456),
    ],
)
def test_a_moment_may_have_a_fraction_of_a_second(job: Job, when: str, microsecond: int) -> None:
    (entry,) = take(job, {**LAY, "when": when})
    assert entry.at == datetime(2026, 11, 10, 12, 0, 7, microsecond, tzinfo=UTC)


def test_entries_of_the_same_second_keep_their_order(job: Job) -> None:
    first = {**LAY, "when": "2026-11-10T12:00:07.2Z"}
    assert len(take(job, first, {**DONE, "when": "2026-11-10T12:00:07.9Z"})) == 2
    assert "after that" in refused(job, first, {**DONE, "when": "2026-11-10T12:00:07.1Z"})[0]


def test_a_task_starts_once_and_finishes_after_it_started(job: Job) -> None:
    log = take(job, LAY)
    assert "entry 1 says it is started" in refused(job, LAY, log=log)[0]
    early = {**DONE, "when": "2026-11-10T06:00"}
    assert "after that" in refused(job, early, log=log)[0]
    log += take(job, DONE, log=log)
    assert "entry 2 says it is finished" in refused(job, DONE, log=log)[0]
    later = {"kind": "progress", "task": "lay", "hours_left": 2, "when": "2026-11-10T11:00"}
    assert "entry 2 says it is finished" in refused(job, later, log=log)[0]


def test_an_undone_entry_makes_room_for_another(job: Job) -> None:
    log = take(job, LAY)
    log += take(job, {"kind": "undo", "seq": 1}, log=log)
    log += take(job, {**LAY, "when": "2026-11-10T09:00"}, log=log)
    assert "an undo stays" in refused(job, {"kind": "undo", "seq": 2}, log=log)[0]
    assert "entry 2 has undone it" in refused(job, {"kind": "undo", "seq": 1}, log=log)[0]
    assert "entries 1 to 3" in refused(job, {"kind": "undo", "seq": 9}, log=log)[0]


def test_entries_given_together_are_checked_one_after_the_other(job: Job) -> None:
    assert len(take(job, LAY, DONE)) == 2
    lines = refused(job, LAY, LAY, {**READ, "value": "x"}, {"kind": "undo", "seq": 9})
    assert [line.split(":")[0] for line in lines] == ["log entry 2", "log entry 3", "log entry 4"]


def test_a_start_told_after_the_finish_must_lie_before_it(job: Job) -> None:
    log = take(job, DONE)
    take(job, LAY, log=log)
    assert "told at" in refused(job, {**LAY, "when": "2026-11-10T11:00"}, log=log)[0]


def test_a_file_of_entries_is_refused_with_its_lines(job: Job) -> None:
    raw = b'[\n {"kind": "started", "task": "lai"},\n {"kind": "note", "text": ""},\n 4\n]\n'
    with pytest.raises(Faults) as caught:
        entries_of(raw, job=job, log=(), now=NOW, file="entries.json")
    places = [line.split(" ")[0] for line in caught.value.lines()]
    assert places == ["entries.json:2:30:", "entries.json:3:27:", "entries.json:4:2:"]


@pytest.mark.parametrize(
    "raw", [b"", b"[", b"\xff", b"[" * 10_000, b"[&a [1], *a]", b"x" * 600_000, b"{}", b"- 1"]
)
def test_what_is_no_list_of_entries_is_refused_in_words(job: Job, raw: bytes) -> None:
    with pytest.raises(Faults) as caught:
        entries_of(raw, job=job, log=(), now=NOW, file="entries.json")
    assert all(isinstance(fault, LogRefused) for fault in caught.value.faults)
