"""Copies of a store made and put back while the service runs, and an export anyone can check.

SQLite's own backup interface (sqlite.org/backup.html) copies page by page under its locks, so a
copy is one state of the store whatever is written meanwhile, and putting one back is one
transaction for whoever has the store open.
"""

from __future__ import annotations

import json
import sqlite3
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from rules.errors import StoreFault
from scheduler.store.opening import WAIT_S
from scheduler.store.sql_store import SqlStore

EXPORT: Final = "closein-export/1"
HOW: Final = """Records of Closein, one JSON object a line in records.jsonl, in order of writing.
hash = SHA-256 of the JSON list ["closein-record/1", job, stream, seq, at, entered_at, kind, body,
previous], ASCII, no spaces; previous = hash of the record before it in its job and stream, 64
zeros before the first. A file under bytes/ is named by the SHA-256 of what it holds.
"""


@dataclass(frozen=True, slots=True)
class Restored:
    """What was put back."""

    records: int
    kept_as: Path | None  # a copy of what was there before
    in_doubt: int  # messages that may have left since the copy was made


def backup(store: SqlStore, path: Path) -> int:
    """Copy a store to a file that is not there yet; return the number of its records.

    Raises
    ------
    StoreFault
        If the file is there, cannot be written, or the copy is not sound.
    """
    if path.exists():
        raise StoreFault(f"{path} is there already; name a new file")
    part = path.with_name(f"{path.name}.part")
    with _told(path), closing(_raw(_file_of(store))) as source, closing(_raw(part)) as copy:
        source.backup(copy)
    faults = sound(part)
    if faults:
        part.unlink()
        raise StoreFault(f"the copy is not sound: {faults[0]}")
    part.replace(path)
    return _count(path)


def restore(path: Path, store: SqlStore, *, now: datetime, lose: bool) -> Restored:
    """Put a copy in a store's place, also while it is in use.

    Messages that waited when the copy was made may have left since: they are put in doubt, not
    sent again. Runs done since are carried over, so that no morning is made twice.

    Parameters
    ----------
    lose : bool
        Whether records that the copy does not have may be lost; what was there is kept as a file
        in any case.

    Raises
    ------
    StoreFault
        If the copy is not sound, or lacks records and ``lose`` is not said.
    """
    faults = sound(path)
    if faults:
        raise StoreFault(f"{path} is not sound and was not put back: {faults[0]}")
    missing = _missing(path, store)
    if missing and not lose:
        raise StoreFault(
            f"{path} lacks {missing} records that the store has; export them first, or say --lose"
        )
    aside = Path(_file_of(store)).with_name(
        f"{Path(_file_of(store)).name}.before-{now:%Y%m%dT%H%M%SZ}"
    )
    backup(store, aside)
    part = aside.with_name(f"{aside.name}.part")
    with _told(path):
        with closing(_raw(path)) as source, closing(_raw(part)) as made:
            source.backup(made)
        doubtful = _settled(part, aside, now)
        with closing(_raw(part)) as source, closing(_raw(_file_of(store))) as target:
            source.backup(target)
        part.unlink()
    return Restored(_count(path), aside, doubtful)


def sound(path: Path) -> tuple[str, ...]:
    """Return what is wrong with a store's file; nothing where it is sound."""
    if not path.is_file():
        return (f"{path} is not there",)
    with _told(path), closing(_raw(path)) as connection:
        (answer,) = connection.execute("PRAGMA integrity_check").fetchone()
    if answer != "ok":
        return (str(answer),)
    store = SqlStore(str(path))
    try:
        return store.verify()
    finally:
        store.close()


def export(store: SqlStore, path: Path, *, job: str | None) -> int:
    """Write the records of a job, or all, with the bytes they name, as a ZIP; return how many.

    Raises
    ------
    StoreFault
        If the file cannot be written.
    """
    count = 0
    wanted: set[str] = set()
    with _told(path), closing(_raw(_file_of(store))) as source:
        source.row_factory = sqlite3.Row
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
            out.writestr("HOW-TO-CHECK.txt", HOW)
            lines = []
            for row in source.execute("SELECT * FROM records ORDER BY job, stream, seq"):
                if job is None or row["job"] == job:
                    lines.append(json.dumps({"format": EXPORT, **dict(row)}, ensure_ascii=True))
                    wanted |= set(_named(row["body"]))
                    count += 1
            out.writestr("records.jsonl", "\n".join([*lines, ""]))
            for name, packed in source.execute(
                "SELECT identity, packed FROM blobs ORDER BY identity"
            ):
                if name in wanted:
                    out.writestr(f"bytes/{name}", zlib.decompress(packed))
    return count


def _named(body: str) -> Iterator[str]:
    """Yield the identities of bytes that a record names."""
    told = json.loads(body)
    for key in ("identity", "answer", "job_text", "content"):
        if isinstance(told.get(key), str):
            yield told[key]
    yield from (name for _, name in told.get("forecasts", ()))


def _missing(path: Path, store: SqlStore) -> int:
    with closing(_raw(_file_of(store))) as connection:
        connection.execute("ATTACH ? AS copy", (str(path),))
        (count,) = connection.execute(
            "SELECT count(*) FROM records r WHERE NOT EXISTS (SELECT 1 FROM copy.records c"
            " WHERE c.job = r.job AND c.stream = r.stream AND c.seq = r.seq AND c.hash = r.hash)"
        ).fetchone()
    return int(count)


def _settled(part: Path, before: Path, now: datetime) -> int:
    """Put in doubt what may have left since the copy, carry over the runs done since."""
    told = "the store was put back from a copy; it may have been sent since"
    store = SqlStore(str(part))
    store.outbox.doubt_all(now=now, told=told)
    _taken_away(store, before, now)
    doubtful = sum(m.told == told for m in store.outbox.messages())
    store.close()
    with closing(_raw(part)) as connection:
        connection.execute("ATTACH ? AS before", (str(before),))
        connection.execute(
            "INSERT OR IGNORE INTO runs SELECT * FROM before.runs WHERE done_at NOT NULL"
        )
    return doubtful


def _taken_away(store: SqlStore, before: Path, now: datetime) -> None:
    """Take away again what was taken away since the copy: links, accounts; all are signed out."""
    newer = SqlStore(str(before))
    try:
        for account in newer.people.accounts():  # a password changed since stays changed
            old = {one.name: one for one in store.people.accounts()}.get(account.name)
            if old is not None and old.changed_at < account.changed_at:
                store.people.put_account(account)
        for job in store.jobs():
            stand = {link.digest for link in newer.people.links(job)}
            gone = {one.who for one in store.people.links(job) if one.digest not in stand}
            for who in gone:
                store.people.withdraw_links(job, who, now=now)
        for account in store.people.accounts():
            store.people.end_sessions(account.name)
    finally:
        newer.close()


def _count(path: Path) -> int:
    with closing(_raw(path)) as connection:
        (count,) = connection.execute("SELECT count(*) FROM records").fetchone()
    return int(count)


def _file_of(store: SqlStore) -> str:
    """Return the file of a store.

    Raises
    ------
    StoreFault
        If it is no file: PostgreSQL has tools of its own for that.
    """
    if "://" in store.name:
        raise StoreFault(f"store {store.name} is no file; copy it with pg_dump")
    return store.name


def _raw(path: Path | str) -> sqlite3.Connection:
    return sqlite3.connect(path, timeout=WAIT_S, isolation_level=None)


@contextmanager
def _told(path: Path) -> Iterator[None]:
    try:
        yield
    except (sqlite3.Error, OSError) as error:
        raise StoreFault(f"{path}: {error}") from error
