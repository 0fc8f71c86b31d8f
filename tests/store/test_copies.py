"""Copies while others write, put back without loss or a second mail; an export to check."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import threading
import zipfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from rules.errors import StoreFault
from scheduler.cli import main
from scheduler.interfaces.messages import NewMessage, Step
from scheduler.interfaces.people import Account, Role, Session
from scheduler.interfaces.records import Inputs
from scheduler.planning.model.log import Entry, EntryKind
from scheduler.service.links import give, link_of, withdraw
from scheduler.store.copies import backup, export, restore, sound
from scheduler.store.sql_store import SqlStore

NOON = datetime(2026, 11, 10, 17, tzinfo=UTC)
HOUR = timedelta(hours=1)


def note(text: str) -> Entry:
    return Entry(0, NOON, NOON, EntryKind.NOTE, text=text)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "closein.db"


@pytest.fixture
def store(path: Path) -> SqlStore:
    store = SqlStore(str(path))
    store.append("lift", [note(f"n{n}") for n in range(5)], entered_at=NOON)
    return store


def queue(store: SqlStore, day: str = "2026-11-10") -> None:
    new = NewMessage("lift", "a@example.org", "morning", day, "mail", f"<{day}>", b"hello")
    store.outbox.queue([new], now=NOON, at=NOON)


def test_a_copy_made_while_others_write_is_whole(path: Path, store: SqlStore) -> None:
    stop = threading.Event()

    def write() -> None:
        own = SqlStore(str(path))
        while not stop.is_set():
            own.append("lift", [note("x" * 4000)], entered_at=NOON)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for n in range(5):
            copy = path.with_name(f"copy{n}.db")
            count = backup(store, copy)
            assert sound(copy) == ()
            assert len(SqlStore(str(copy)).entries("lift")) == count >= 5
    finally:
        stop.set()
        writer.join()
    with pytest.raises(StoreFault, match="is there already"):
        backup(store, copy)


def test_a_copy_is_put_back_while_the_store_is_open(path: Path, store: SqlStore) -> None:
    copy = path.with_name("copy.db")
    backup(store, copy)
    other = SqlStore(str(path))
    assert len(other.entries("lift")) == 5
    store.append("lift", [note("later")], entered_at=NOON)
    with pytest.raises(StoreFault, match="lacks 1 records that the store has"):
        restore(copy, path, now=NOON, lose=False)
    assert len(other.entries("lift")) == 6
    done = restore(copy, path, now=NOON, lose=True)
    assert len(other.entries("lift")) == 5
    assert other.verify() == ()
    assert done.kept_as is not None
    assert len(SqlStore(str(done.kept_as)).entries("lift")) == 6
    other.append("lift", [note("goes on")], entered_at=NOON)
    assert other.verify() == ()


def test_a_message_that_waited_in_the_copy_is_not_sent_a_second_time(
    path: Path, store: SqlStore
) -> None:
    queue(store)
    copy = path.with_name("copy.db")
    backup(store, copy)
    taken = store.outbox.claim(now=NOON, until=NOON + HOUR)
    assert taken is not None
    assert store.outbox.begin(taken, now=NOON, until=NOON + HOUR)
    store.outbox.settle(taken, Step.SENT, now=NOON, told="250", next_try=NOON)
    claim = store.runs.claim("lift", "morning", "2026-11-11", now=NOON, until=NOON + HOUR)
    store.runs.finish("lift", "morning", "2026-11-11", claim, now=NOON, told="", body="")
    assert restore(copy, path, now=NOON, lose=True).in_doubt == 1
    assert store.outbox.claim(now=NOON + 9 * HOUR, until=NOON + 10 * HOUR) is None
    assert [m.step for m in store.outbox.alarms()] == [Step.IN_DOUBT]
    assert store.runs.claim("lift", "morning", "2026-11-11", now=NOON, until=NOON) == ""
    assert store.verify() == ()


def test_what_was_taken_away_since_the_copy_does_not_come_back(
    path: Path, store: SqlStore
) -> None:
    token = give(store, "lift", "A. Ryd", now=NOON)
    owner = Account("B. Lund", Role.OWNER, (), "old hash", NOON)
    store.people.put_account(owner)
    store.people.begin_session(Session("d" * 64, "B. Lund", NOON, NOON + 99 * HOUR))
    copy = path.with_name("copy.db")
    backup(store, copy)
    withdraw(store, "lift", "A. Ryd", now=NOON + HOUR)
    store.people.put_account(replace(owner, secret="new hash", changed_at=NOON + HOUR))
    restore(copy, path, now=NOON + 2 * HOUR, lose=True)
    assert link_of(store, token) is None
    found = store.people.account("B. Lund")
    assert found is not None
    assert found.secret == "new hash"
    assert store.people.session("d" * 64, now=NOON + 2 * HOUR) is None
    assert store.verify() == ()


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE accounts SET secret = 'mine'",
        "UPDATE accounts SET role = 'owner', releases = '[\"engineer\"]'",
        "UPDATE links SET may_log = 1",
        "INSERT INTO accounts VALUES ('X', 'owner', '[]', 'h', '2026-11-10', 0)",
    ],
)
def test_a_right_that_somebody_gave_himself_is_found(
    path: Path, store: SqlStore, change: str
) -> None:
    give(store, "lift", "A. Ryd", now=NOON)
    store.people.put_account(Account("B. Lund", Role.READER, (), "hash", NOON))
    assert store.verify() == ()
    raw = sqlite3.connect(path)
    raw.execute(change)
    raw.commit()
    raw.close()
    assert any("behind the store's back" in line for line in store.verify())


def test_a_spoilt_copy_is_not_put_back(path: Path, store: SqlStore) -> None:
    copy = path.with_name("copy.db")
    backup(store, copy)
    raw = sqlite3.connect(copy, isolation_level=None)
    raw.execute("DROP TRIGGER records_update")
    raw.execute("UPDATE records SET body = replace(body, 'n3', 'n4')")
    raw.close()
    with pytest.raises(StoreFault, match="is not sound and was not put back"):
        restore(copy, path, now=NOON, lose=True)
    assert [entry.text for entry in store.entries("lift")] == [f"n{n}" for n in range(5)]


def test_an_export_is_checked_with_nothing_but_its_own_words(path: Path, store: SqlStore) -> None:
    queue(store)
    inputs = Inputs(job_text=b"closein: 1", log_position=5)
    store.keep_decision("lift", "brief", b'{"go":1}', inputs, at=NOON, entered_at=NOON)
    out = path.with_name("records.zip")
    assert export(store, out, job=None) == 7
    with zipfile.ZipFile(out) as read:
        lines = [json.loads(line) for line in read.read("records.jsonl").splitlines()]
        for name in read.namelist():
            if name.startswith("bytes/"):
                assert hashlib.sha256(read.read(name)).hexdigest() == name.removeprefix("bytes/")
        assert len([n for n in read.namelist() if n.startswith("bytes/")]) == 3
    last: dict[tuple[str, str], str] = {}
    for line in lines:
        key = (line["job"], line["stream"])
        assert line["previous"] == last.get(key, "0" * 64)
        fields = ["job", "stream", "seq", "at", "entered_at", "kind", "body", "previous"]
        told = json.dumps(["closein-record/1", *(line[f] for f in fields)], separators=(",", ":"))
        assert hashlib.sha256(told.encode()).hexdigest() == line["hash"]
        last[key] = line["hash"]


def test_a_letter_changed_or_called_otherwise_is_found(path: Path, store: SqlStore) -> None:
    queue(store)
    taken = store.outbox.claim(now=NOON, until=NOON + HOUR)
    assert taken is not None
    store.outbox.settle(taken, Step.GIVEN_UP, now=NOON, told="550", next_try=NOON)
    assert store.verify() == ()
    raw = sqlite3.connect(path, isolation_level=None)
    raw.execute("DROP TRIGGER outbox_update")
    raw.execute("UPDATE outbox SET step = 'sent'")
    assert store.verify() == ("message 1: is called sent, its record says given_up",)


def test_the_commands(
    path: Path, store: SqlStore, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    where = ["--store", str(path)]
    assert main(["verify", *where]) == 0
    assert main(["backup", str(tmp_path / "copy.db"), *where]) == 0
    assert main(["export", "--out", str(tmp_path / "all.zip"), *where]) == 0
    assert main(["restore", str(tmp_path / "copy.db"), *where]) == 0
    told = capsys.readouterr().out
    assert "every record follows from the one before" in told
    assert "copy.db: 5 records, checked" in told
    assert main(["verify", "--store", str(tmp_path / "none.db")]) == 2
    assert "is not there; name it" in capsys.readouterr().err
    raw = sqlite3.connect(path, isolation_level=None)
    raw.execute("DROP TRIGGER records_update")
    raw.execute("UPDATE records SET kind = 'lost' WHERE seq = 2")
    assert main(["verify", *where]) == 2
    assert "log 2 of lift: was changed after it was written" in capsys.readouterr().err
