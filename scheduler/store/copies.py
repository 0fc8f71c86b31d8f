"""Copies of a store made and put back while the service runs, and an export anyone can check.

SQLite's own backup interface (sqlite.org/backup.html) copies page by page under its locks, so a
copy is one state of the store whatever is written meanwhile, and putting one back is one
transaction for whoever has the store open. A store that SQLite cannot read is not written over:
its files are set aside by their names, with the journal, which SQLite would else roll into the
copy (sqlite.org/howtocorrupt.html), and the copy takes its place.
"""

from __future__ import annotations

import json
import sqlite3
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import closing, contextmanager, nullcontext
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from rules.errors import StoreFault
from scheduler.store.opening import TOLD, WAIT_S, engine_of
from scheduler.store.sql_store import SqlStore
from scheduler.store.tables import APPLICATION

EXPORT: Final = "closein-export/1"
HOW: Final = """Records of Closein, one JSON object a line in records.jsonl, in order of writing.
hash = SHA-256 of the JSON list ["closein-record/1", job, stream, seq, at, entered_at, kind, body,
previous], ASCII, no spaces; previous = hash of the record before it in its job and stream, 64
zeros before the first. A file under bytes/ is named by the SHA-256 of what it holds.
"""
BESIDE: Final = ("-journal", "-wal", "-shm", "")  # SQLite's files of one database, it last
# What SQLite says of a store that another setting or a moment later would make good.
PASSES: Final = frozenset(TOLD) - {
    sqlite3.SQLITE_CORRUPT,
    sqlite3.SQLITE_NOTADB,
    sqlite3.SQLITE_IOERR,
}
MESSAGES: Final = "which messages were sent; one may come twice"
PEOPLE: Final = "which links were withdrawn and passwords changed; do that again"


@dataclass(frozen=True, slots=True)
class Restored:
    """What was put back."""

    records: int
    kept_as: Path | None  # what was there before
    in_doubt: int  # messages that may have left since the copy was made
    unknown: tuple[str, ...] = ()  # what the store that was there could not tell
    uncounted: bool = False  # it could not tell either how many records the copy lacks


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
    with _told(path), closing(_raw(store_file(store.name))) as source, closing(_raw(part)) as copy:
        source.backup(copy)
    faults = sound(part)
    if faults:
        part.unlink()
        raise StoreFault(f"the copy is not sound: {faults[0]}")
    part.replace(path)
    return _count(path)


def restore(path: Path, store: Path, *, now: datetime, lose: bool) -> Restored:
    """Put a copy in a store's place, also while it is in use.

    Nothing is asked of the store that is there: it may be lost, damaged or cut short. Messages
    that waited when the copy was made may have left since: they are put in doubt, not sent again.
    Where the store can be read, runs done since are carried over, so that no morning is made
    twice; where it is sound too, what was taken away from people since stays taken away.

    Parameters
    ----------
    lose : bool
        Whether records that the copy does not have may be lost; what was there is kept as a file
        in any case.

    Raises
    ------
    StoreFault
        If the copy is not sound, lacks records and ``lose`` is not said, or if what is there is
        another program's, a newer Closein's, or in use by a run that does not end.
    """
    aside = _unused(store.with_name(f"{store.name}.before-{now:%Y%m%dT%H%M%SZ}"))
    part = aside.with_name(f"{aside.name}.part")
    try:
        with _told(path):
            _copied(path, part)
        with _told(store):
            missing = _missing(part, store)
            if missing and not lose:
                raise StoreFault(
                    f"{path} lacks {missing} records that the store has; export them first,"
                    " or say --lose"
                )
            if missing is None:
                doubtful, unknown = _settled(part, None, now)
                kept = _set_aside(store, aside)
                part.replace(store)
            else:
                kept = aside
                doubtful, unknown = _written_over(part, store, aside, now)
    finally:
        part.unlink(missing_ok=True)
    uncounted = missing is None and kept is not None
    return Restored(_count(store), kept, doubtful, unknown, uncounted)


def store_file(address: str) -> Path:
    """Return the file that an address of a store names, whether or not it is there.

    Raises
    ------
    StoreFault
        If it is no file: PostgreSQL has tools of its own for that.
    """
    _, name = engine_of(address)
    if "://" in name or name != address.removeprefix("sqlite:///"):
        raise StoreFault(f"store {name} is no file; copy it with pg_dump")
    return Path(name)


def sound(path: Path) -> tuple[str, ...]:
    """Return what is wrong with a store's file; nothing where it is sound."""
    if not path.is_file():
        return (f"{path} is not there",)
    with _told(path), closing(_raw(path)) as connection:
        (answer,) = connection.execute("PRAGMA integrity_check").fetchone()
    if answer != "ok":
        return (str(answer),)
    try:
        with closing(SqlStore(str(path))) as store:
            return store.verify()
    except StoreFault as fault:  # a table that is not there
        return (str(fault),)


def export(store: SqlStore, path: Path, *, job: str | None) -> int:
    """Write the records of a job, or all, with the bytes they name, as a ZIP; return how many.

    Raises
    ------
    StoreFault
        If the file cannot be written.
    """
    count = 0
    wanted: set[str] = set()
    part = path.with_name(f"{path.name}.part")
    try:
        with _told(path), closing(_raw(store_file(store.name))) as source:
            source.row_factory = sqlite3.Row
            with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as out:
                out.writestr("HOW-TO-CHECK.txt", HOW)
                lines = []
                for row in source.execute("SELECT * FROM records ORDER BY job, stream, seq"):
                    if job is None or row["job"] == job:
                        line = {"format": EXPORT, **dict(row)}
                        lines.append(json.dumps(line, ensure_ascii=True))
                        wanted |= set(_named(row["body"]))
                        count += 1
                out.writestr("records.jsonl", "\n".join([*lines, ""]))
                for name, packed in source.execute(
                    "SELECT identity, packed FROM blobs ORDER BY identity"
                ):
                    if name in wanted:
                        out.writestr(f"bytes/{name}", _unpacked(name, packed))
            part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    return count


def _unpacked(name: str, packed: bytes) -> bytes:
    try:
        return zlib.decompress(packed)
    except zlib.error as error:
        raise StoreFault(f"the bytes {name} are damaged; nothing was exported") from error


def _named(body: str) -> Iterator[str]:
    """Yield the identities of bytes that a record names."""
    told = json.loads(body)
    for key in ("identity", "answer", "job_text", "content"):
        if isinstance(told.get(key), str):
            yield told[key]
    yield from (name for _, name in told.get("forecasts", ()))


def _copied(path: Path, part: Path) -> None:
    """Copy a copy, so that it stays as it is whatever its schema, and look through it."""
    refused = f"{path} is not sound and was not put back"
    if not path.is_file():
        raise StoreFault(f"{refused}: it is not there")
    with closing(_raw(path)) as source, closing(_raw(part)) as made:
        source.backup(made)
        (application,) = made.execute("PRAGMA application_id").fetchone()
    faults = ("it is no store of Closein",) if application != APPLICATION else sound(part)
    if faults:
        raise StoreFault(f"{refused}: {faults[0]}")


def _missing(copy: Path, store: Path) -> int | None:
    """Count a store's records that a copy lacks; None where the store is lost or damaged."""
    if not store.exists():
        return None
    try:
        with closing(_raw(store)) as connection:
            if connection.execute("PRAGMA integrity_check").fetchone() != ("ok",):
                return None
            if connection.execute("SELECT 1 FROM sqlite_master").fetchone() is None:
                return None  # an empty file
            (application,) = connection.execute("PRAGMA application_id").fetchone()
            if application != APPLICATION:
                raise StoreFault(f"store {store} is another program's database; name another file")
            connection.execute("SELECT version_num FROM alembic_version")
            connection.execute("ATTACH ? AS copy", (str(copy),))
            (count,) = connection.execute(
                "SELECT count(*) FROM main.records r WHERE NOT EXISTS"
                " (SELECT 1 FROM copy.records c WHERE c.job = r.job AND c.stream = r.stream"
                " AND c.seq = r.seq AND c.hash = r.hash)"
            ).fetchone()
    except sqlite3.Error as error:
        if _code(error) in PASSES:
            raise
        return None
    return int(count)


def _written_over(
    part: Path, store: Path, aside: Path, now: datetime
) -> tuple[int, tuple[str, ...]]:
    """Keep a store that can be read as a file, and write a copy over it in one transaction."""
    SqlStore(str(store)).close()  # an older one is brought up to date, a newer one is refused
    with closing(_raw(store)) as source, closing(_raw(aside)) as kept:
        source.backup(kept)
    settled = _settled(part, aside, now)
    with closing(_raw(part)) as source, closing(_raw(store)) as target:
        source.backup(target)
    return settled


def _set_aside(store: Path, aside: Path) -> Path | None:
    """Give a store that cannot be read another name, with its journal, once nobody writes."""
    there = [(tail, store.with_name(store.name + tail)) for tail in BESIDE]
    there = [(tail, one) for tail, one in there if one.is_file()]
    with closing(_raw(store)) if store.is_file() else nullcontext() as connection:
        try:
            if connection is not None:
                connection.execute("BEGIN EXCLUSIVE")
        except sqlite3.Error as error:
            if _code(error) in PASSES:
                raise
        for tail, one in there:
            one.rename(aside.with_name(aside.name + tail))
    return aside.with_name(aside.name + there[-1][0]) if there else None


def _unused(path: Path) -> Path:
    """Return a name that no file has, this one or the next of its kind."""
    free, number = path, 1
    while any(free.with_name(free.name + tail).exists() for tail in BESIDE):
        number += 1
        free = path.with_name(f"{path.name}-{number}")
    return free


def _settled(part: Path, before: Path | None, now: datetime) -> tuple[int, tuple[str, ...]]:
    """Put in doubt what may have left since the copy, carry over the runs done since.

    Returns how many messages are in doubt, and what the store before could not tell.
    """
    told = "the store was put back from a copy; it may have been sent since"
    trusted = before is not None and not sound(before)
    store = SqlStore(str(part))
    store.outbox.doubt_all(now=now, told=told)
    if before is not None and trusted:
        _taken_away(store, before, now)
    for account in store.people.accounts():
        store.people.end_sessions(account.name)
    doubtful = sum(m.told == told for m in store.outbox.messages())
    store.close()
    carried = before is not None and _runs_carried(part, before)
    unknown = (*(() if carried else (MESSAGES,)), *(() if trusted else (PEOPLE,)))
    return doubtful, unknown


def _runs_carried(part: Path, before: Path) -> bool:
    with closing(_raw(part)) as connection:
        connection.execute("ATTACH ? AS before", (str(before),))
        try:
            connection.execute(
                "INSERT OR IGNORE INTO runs SELECT * FROM before.runs WHERE done_at NOT NULL"
            )
        except sqlite3.Error as error:
            if _code(error) in PASSES:
                raise
            return False
    return True


def _taken_away(store: SqlStore, before: Path, now: datetime) -> None:
    """Take away again what was taken away since the copy: links, accounts."""
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
    finally:
        newer.close()


def _count(path: Path) -> int:
    with closing(_raw(path)) as connection:
        (count,) = connection.execute("SELECT count(*) FROM records").fetchone()
    return int(count)


def _code(error: sqlite3.Error) -> int:
    return int(getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR)) & 0xFF


def _raw(path: Path | str) -> sqlite3.Connection:
    return sqlite3.connect(path, timeout=WAIT_S, isolation_level=None)


@contextmanager
def _told(path: Path) -> Iterator[None]:
    try:
        yield
    except (sqlite3.Error, OSError) as error:
        raise StoreFault(f"{path}: {error}") from error
