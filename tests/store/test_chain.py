"""Nothing in a store can be changed, and what is changed behind its back is found."""

from __future__ import annotations

import hashlib
import sqlite3
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduler.interfaces.records import Inputs
from scheduler.planning.model.log import Entry, EntryKind
from scheduler.store import open_store
from scheduler.store.chain import record_hash

NOON = datetime(2026, 11, 10, 17, tzinfo=UTC)
TRIGGERS = (
    "records_update", "records_delete", "records_insert", "blobs_update", "blobs_delete",
    "blobs_insert",
)  # fmt: skip
ROW = "job, stream, seq, at, entered_at, kind, body, previous, hash"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "closein.db"
    store = open_store(str(path))
    entries = [Entry(0, NOON, NOON, EntryKind.NOTE, text=f"entry {n}") for n in range(1, 6)]
    store.append("lift", entries, entered_at=NOON)
    store.append("other", entries, entered_at=NOON)
    kept = store.keep_forecast(
        "lift", b"forecast", role="weather", source="f", issued_at=NOON, received_at=NOON
    )
    inputs = Inputs(b"job", 5, (("weather", kept.identity),))
    store.keep_decision("lift", "today", b"go", inputs, at=NOON, entered_at=NOON)
    assert store.verify() == ()
    store.close()
    return path


def force(path: Path, *statements: str) -> None:
    """Change the file as somebody would who knows SQLite."""
    connection = sqlite3.connect(path, isolation_level=None)
    for trigger in TRIGGERS:
        connection.execute(f"DROP TRIGGER {trigger}")
    for statement in statements:
        connection.execute(statement)
    connection.close()


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE records SET body = '{}' WHERE stream = 'log' AND seq = 2",
        "UPDATE records SET hash = '' WHERE seq = 1",
        "DELETE FROM records WHERE seq = 5",
        "DELETE FROM records",
        f"REPLACE INTO records SELECT {ROW.replace('body', '0')} FROM records WHERE seq = 5",
        f"INSERT INTO records SELECT {ROW.replace('seq', '9')} FROM records WHERE seq = 5",
        "UPDATE blobs SET size = 1",
        "DELETE FROM blobs",
        "REPLACE INTO blobs SELECT identity, 1, packed FROM blobs",
    ],
)
def test_sqlite_itself_refuses_to_change_what_is_written(path: Path, statement: str) -> None:
    connection = sqlite3.connect(path)
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        connection.execute(statement)
    connection.close()
    assert open_store(str(path)).verify() == ()


LIFT = "WHERE job = 'lift' AND stream = 'log'"
LOST = "decision 1 of lift: the log it was made from"
CHANGES = [
    (
        f"UPDATE records SET body = replace(body, 'entry 2', 'x') {LIFT}",
        "log 2 of lift: was changed",
    ),
    (f"UPDATE records SET at = '2026' {LIFT} AND seq = 3", "log 3 of lift: was changed"),
    (f"UPDATE records SET kind = 'fact' {LIFT} AND seq = 1", "log 1 of lift: was changed"),
    (f"UPDATE records SET job = 'x' {LIFT} AND seq = 5", "log 5 of x: 1 to 4 were taken out"),
    (f"DELETE FROM records {LIFT} AND seq = 3", "log 4 of lift: 3 to 3 were taken out"),
    (f"DELETE FROM records {LIFT} AND seq = 5", LOST),
    (f"DELETE FROM records {LIFT}", LOST),
    (
        "UPDATE records SET at = '2026' WHERE stream = 'decision'",
        "decision 1 of lift: was changed",
    ),
    ("UPDATE records SET kind = 'x' WHERE stream = 'forecast'", "forecast 1 of lift: was changed"),
    ("DELETE FROM blobs WHERE size = 8", "decision 1 of lift: the bytes"),
    ("UPDATE blobs SET packed = x'789c030000000001' WHERE size = 8", "were changed after"),
    ("UPDATE blobs SET packed = x'00' WHERE size = 8", "are damaged"),
]


@pytest.mark.parametrize(("statement", "finds"), CHANGES)
def test_a_change_is_found_and_named(path: Path, statement: str, finds: str) -> None:
    force(path, statement)
    found = open_store(str(path)).verify()
    assert any(finds in line for line in found), found


def test_a_changed_record_with_its_own_hash_made_anew_breaks_the_next(path: Path) -> None:
    connection = sqlite3.connect(path)
    names = ("job", "stream", "seq", "at", "entered_at", "kind", "body", "previous")
    row = connection.execute(
        f"SELECT {', '.join(names)} FROM records {LIFT} AND seq = 2"
    ).fetchone()
    fields = dict(zip(names, row, strict=True)) | {"body": '{"text":"forged"}'}
    connection.close()
    force(
        path,
        f"UPDATE records SET body = '{fields['body']}', hash = '{record_hash(**fields)}'"
        f" {LIFT} AND seq = 2",
    )
    assert open_store(str(path)).verify() == (
        "log 3 of lift: does not follow the record before it",
    )


def test_the_hash_is_plain_sha_256_over_a_json_list() -> None:
    made = record_hash(
        job="lift", stream="log", seq=1, at="a", entered_at="b", kind="note", body="{}",
        previous="0" * 64,
    )  # fmt: skip
    text = '["closein-record/1","lift","log",1,"a","b","note","{}","' + "0" * 64 + '"]'
    assert made == hashlib.sha256(text.encode()).hexdigest()


@given(
    column=st.sampled_from(["at", "entered_at", "kind", "body", "previous", "hash"]),
    seq=st.integers(1, 5),
    place=st.integers(1, 40),
)
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_one_letter_changed_is_found(path: Path, column: str, seq: int, place: int) -> None:
    copy = path.with_name("copy.db")
    copy.write_bytes(path.read_bytes())
    force(
        copy,
        f"UPDATE records SET {column} = substr({column}, 1, {place} - 1) || '~' ||"
        f" substr({column}, {place} + 1) {LIFT} AND seq = {seq}",
    )
    assert any(line.startswith("log ") for line in open_store(str(copy)).verify())
