"""A copy put back where it is needed: the store is lost, damaged, cut short, or in use."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

import scheduler.startup_service
from rules.errors import StoreFault
from scheduler.cli import main
from scheduler.interfaces.messages import NewMessage
from scheduler.interfaces.people import Account, Role
from scheduler.interfaces.records import Inputs
from scheduler.planning.model.log import Entry, EntryKind
from scheduler.service.links import give, link_of, withdraw
from scheduler.store import copies
from scheduler.store.copies import backup, restore
from scheduler.store.sql_store import SqlStore

NOON = datetime(2026, 11, 10, 17, 0, 3, 250_000, tzinfo=UTC)
HOUR = timedelta(hours=1)
TEXTS = [f"note {n} " + "x" * 400 for n in range(40)]
PAGE = 4096  # SQLite's page unless set (sqlite.org/pragma.html#pragma_page_size)


def note(text: str) -> Entry:
    return Entry(0, NOON, NOON, EntryKind.NOTE, text=text)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "closein.db"


@pytest.fixture
def copy(path: Path, tmp_path: Path) -> Path:
    """A copy of a store with records, bytes and a message that waits."""
    store = SqlStore(str(path))
    store.append("lift", [note(text) for text in TEXTS], entered_at=NOON)
    store.people.put_account(Account("B. Lund", Role.OWNER, (), "hash", NOON))
    inputs = Inputs(job_text=b"closein: 1", log_position=len(TEXTS))
    store.keep_decision("lift", "brief", b'{"go":1}', inputs, at=NOON, entered_at=NOON)
    new = NewMessage("lift", "a@example.org", "morning", "2026-11-10", "mail", "<1>", b"hello")
    store.outbox.queue([new], now=NOON, at=NOON)
    copy = tmp_path / "copy.db"
    backup(store, copy)
    store.close()
    return copy


def raw(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        kept = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        for (trigger,) in kept.fetchall():
            connection.execute(f"DROP TRIGGER {trigger}")
        for statement in statements:
            connection.execute(statement)


def spoil_pages(path: Path, *, first: int, every: int = 1) -> None:
    whole = bytearray(path.read_bytes())
    for at in range(first * PAGE, len(whole), every * PAGE):
        whole[at : at + PAGE] = bytes(byte ^ 0x5A for byte in whole[at : at + PAGE])
    path.write_bytes(bytes(whole))


def cut(path: Path, size: float) -> None:
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * size)])


DAMAGE: dict[str, Callable[[Path], object]] = {
    "lost": Path.unlink,
    "a damaged blob": lambda path: raw(path, "UPDATE blobs SET packed = x'0011'"),
    "every page but the first": lambda path: spoil_pages(path, first=1),
    "some pages": lambda path: spoil_pages(path, first=2, every=3),
    "the head": lambda path: spoil_pages(path, first=0, every=10_000),
    "cut in a page": lambda path: cut(path, 0.43),
    "cut to nothing": lambda path: cut(path, 0.0),
    "a changed record": lambda path: raw(path, "UPDATE records SET body = '[]' WHERE seq = 7"),
    "a table gone": lambda path: raw(path, "DROP TABLE outbox"),
    "the records gone": lambda path: raw(path, "DROP TABLE records"),
    "no schema": lambda path: raw(path, "DROP TABLE alembic_version"),
}


@pytest.mark.parametrize("damage", DAMAGE)
def test_a_copy_is_put_back_whatever_became_of_the_store(
    damage: str, path: Path, copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    DAMAGE[damage](path)
    was = path.read_bytes() if path.exists() else None
    assert main(["restore", str(copy), "--store", str(path)]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    store = SqlStore(str(path))
    assert store.verify() == ()
    assert [entry.text for entry in store.entries("lift")] == TEXTS
    assert store.outbox.claim(now=NOON + 9 * HOUR, until=NOON + 10 * HOUR) is None
    assert "1 messages that waited when the copy was made are in doubt" in out
    kept = list(path.parent.glob("closein.db.before-2*Z"))
    if was is None:
        assert (kept, "no store was there" in out) == ([], True)
        return
    assert f"what was there is {kept[0]}" in out
    if "cannot be read" in out:
        assert kept[0].read_bytes() == was
    assert not list(path.parent.glob("*.part"))


def test_each_page_of_a_store_may_be_the_damaged_one(path: Path, copy: Path) -> None:
    whole = path.read_bytes()
    for number in range(len(whole) // PAGE):
        path.write_bytes(whole)
        spoil_pages(path, first=number, every=10_000)
        done = restore(copy, path, now=NOON + number * HOUR, lose=False)
        assert done.records == len(TEXTS) + 4, number  # and answer, account, two of the mail
        assert SqlStore(str(path)).verify() == (), number
    assert len(list(path.parent.glob("closein.db.before-*Z"))) == len(whole) // PAGE


def test_what_was_set_aside_is_never_written_over(path: Path, copy: Path) -> None:
    for text in ("first", "second", "third"):
        path.write_text(f"{text}: no database")
        restore(copy, path, now=NOON, lose=False)
    kept = sorted(path.parent.glob("closein.db.before-*"))
    assert [one.read_text().partition(":")[0] for one in kept] == ["first", "second", "third"]
    assert kept[0].name == "closein.db.before-20261110T170003Z"


def test_a_journal_left_by_a_crash_is_not_rolled_into_the_copy(path: Path, copy: Path) -> None:
    """The journal of a store that was lost holds its pages; SQLite would write them back."""
    journal = path.with_name("closein.db-journal")
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA cache_size = 1")
        connection.execute("BEGIN IMMEDIATE")
        connection.execute("UPDATE accounts SET role = 'crew'")
        connection.execute("CREATE TABLE much AS SELECT a.* FROM records a, records b")
        left = journal.read_bytes()
        assert left
    path.unlink()
    journal.write_bytes(left)
    done = restore(copy, path, now=NOON, lose=False)
    assert not journal.exists()
    assert done.kept_as is not None
    assert done.kept_as.read_bytes() == left
    assert SqlStore(str(path)).verify() == ()


def test_records_that_only_the_damaged_store_has_are_not_given_up_unasked(
    path: Path, copy: Path
) -> None:
    SqlStore(str(path)).append("lift", [note("later")], entered_at=NOON)
    raw(path, "UPDATE blobs SET packed = x'0011'")
    with pytest.raises(StoreFault, match="lacks 1 records that the store has"):
        restore(copy, path, now=NOON, lose=False)
    assert len(SqlStore(str(path)).entries("lift")) == len(TEXTS) + 1
    done = restore(copy, path, now=NOON, lose=True)
    assert done.kept_as is not None
    assert len(SqlStore(str(done.kept_as)).entries("lift")) == len(TEXTS) + 1


def test_runs_are_carried_over_from_a_store_that_can_be_read_and_rights_from_a_sound_one(
    path: Path, copy: Path
) -> None:
    store = SqlStore(str(path))
    claim = store.runs.claim("lift", "morning", "2026-11-11", now=NOON, until=NOON + HOUR)
    store.runs.finish("lift", "morning", "2026-11-11", claim, now=NOON, told="", body="")
    raw(
        path,
        "UPDATE blobs SET packed = x'0011'",
        "UPDATE accounts SET secret = 'mine', changed_at = '2026-12-01T00:00:00+00:00'",
    )
    done = restore(copy, path, now=NOON, lose=False)
    assert done.unknown == (copies.PEOPLE,)
    store = SqlStore(str(path))
    assert store.runs.claim("lift", "morning", "2026-11-11", now=NOON, until=NOON) == ""
    found = store.people.account("B. Lund")
    assert found is not None
    assert found.secret == "hash"
    assert store.verify() == ()


def test_a_store_in_use_by_a_run_that_does_not_end_is_left_alone(
    path: Path, copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(copies, "WAIT_S", 0.05)
    whole = path.read_bytes()
    with closing(sqlite3.connect(path, isolation_level=None)) as busy:
        busy.execute("BEGIN EXCLUSIVE")
        with pytest.raises(StoreFault, match="locked"):
            restore(copy, path, now=NOON, lose=True)
    assert path.read_bytes() == whole
    assert not list(path.parent.glob("closein.db.before-*"))


def test_another_programs_database_is_not_written_over(path: Path, copy: Path) -> None:
    path.unlink()
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("CREATE TABLE photos (name TEXT)")
    whole = path.read_bytes()
    with pytest.raises(StoreFault, match="another program's database"):
        restore(copy, path, now=NOON, lose=True)
    assert path.read_bytes() == whole


@pytest.mark.parametrize("damage", [*DAMAGE, "another program's"])
def test_a_copy_that_is_not_sound_is_refused_and_the_store_stays(
    damage: str, path: Path, copy: Path
) -> None:
    if damage in DAMAGE:
        DAMAGE[damage](copy)
    else:
        copy.unlink()
        raw(copy, "CREATE TABLE photos (name TEXT)")
    bad = copy.read_bytes() if copy.exists() else b""
    whole = path.read_bytes()
    with pytest.raises(StoreFault):
        restore(copy, path, now=NOON, lose=True)
    assert path.read_bytes() == whole
    assert (copy.read_bytes() if copy.exists() else b"") == bad
    assert sorted(one.name for one in path.parent.iterdir() if one != copy) == ["closein.db"]


def test_a_copy_is_read_and_not_changed_and_may_lie_where_nobody_writes(
    path: Path, copy: Path, tmp_path: Path
) -> None:
    """Also one of an older schema: what is brought up to date is the store made from it."""
    old = tmp_path / "old.db"
    with closing(sqlite3.connect(old)) as connection:
        script = Path(__file__).with_name("schema_0002.sql").read_text(encoding="utf-8")
        connection.executescript(script)
    old.chmod(0o400)
    before = old.read_bytes()
    path.unlink()
    restore(old, path, now=NOON, lose=False)
    assert old.read_bytes() == before
    assert SqlStore(str(path)).verify() == ()


def test_what_a_sound_store_took_away_stays_away_and_all_are_signed_out(
    path: Path, copy: Path
) -> None:
    store = SqlStore(str(path))
    token = give(store, "lift", "A. Ryd", now=NOON)
    newer = copy.with_name("newer.db")
    backup(store, newer)
    withdraw(store, "lift", "A. Ryd", now=NOON + HOUR)
    assert restore(newer, path, now=NOON + HOUR, lose=True).unknown == ()
    assert link_of(SqlStore(str(path)), token) is None


def test_a_store_whose_bytes_are_damaged_is_exported_by_no_half(path: Path, copy: Path) -> None:
    raw(path, "UPDATE blobs SET packed = x'0011'")
    out = path.with_name("all.zip")
    assert main(["export", "--out", str(out), "--store", str(path)]) == 2
    assert not list(path.parent.glob("all.zip*"))


def test_a_full_disk_leaves_the_store_and_nothing_half_made(
    path: Path, copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite says SQLITE_FULL when a database may not grow (sqlite.org/rescode.html#full)."""
    opened = copies._raw

    def full(one: Path | str) -> sqlite3.Connection:
        connection = opened(one)
        if str(one).endswith(".part"):
            connection.execute("PRAGMA max_page_count = 2")
        return connection

    monkeypatch.setattr(copies, "_raw", full)
    whole = path.read_bytes()
    with pytest.raises(StoreFault, match="full"):
        restore(copy, path, now=NOON, lose=True)
    assert path.read_bytes() == whole
    assert sorted(one.name for one in path.parent.iterdir()) == ["closein.db", "copy.db"]


def test_the_clock_of_the_command_names_what_was_set_aside(
    path: Path, copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(scheduler.startup_service, "now", lambda: NOON)
    shutil.copy(copy, path)
    assert main(["restore", str(copy), "--store", f"sqlite:///{path}"]) == 0
    assert path.with_name("closein.db.before-20261110T170003Z").is_file()
