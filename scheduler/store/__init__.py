"""The store: an SQLite file with each job's log, forecasts as they came, and answers given."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from scheduler.interfaces.protocols import Store


def open_store(address: str) -> Store:
    """Open the store at a file's path or SQLite URL, make it where there is none.

    SQLAlchemy is imported here, not with this package, for the sake of what needs no store.

    Raises
    ------
    StoreFault
        If it cannot be opened, is no store, or is of a newer Closein.
    """
    from scheduler.store.sql_store import SqlStore

    return SqlStore(address)
