"""Disks that fill, as a store meets them."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, event


@contextmanager
def full_disk(store: Any) -> Iterator[None]:
    """Within the block every writing transaction of the store meets a full disk.

    SQLite itself says so (SQLITE_FULL): the file may grow no more, and more than fits is written
    first, as a rollback journal would be. What stands in the store can be read.
    """

    def fill(connection: Connection) -> None:
        if connection.get_execution_options().get("writes", False):
            connection.exec_driver_sql("PRAGMA max_page_count = 1")
            connection.exec_driver_sql("CREATE TABLE filling AS SELECT zeroblob(100000000)")

    event.listen(store._engine, "begin", fill)
    try:
        yield
    finally:
        event.remove(store._engine, "begin", fill)


def damaged(path: Path, identity: str) -> None:
    """Spoil kept bytes behind the store's back, as a bad block does; its guards go."""
    raw = sqlite3.connect(path, isolation_level=None)
    guards = raw.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for (name,) in guards:
        raw.execute(f'DROP TRIGGER "{name}"')
    raw.execute("UPDATE blobs SET packed = x'00ff00' WHERE identity = ?", (identity,))
    raw.close()
