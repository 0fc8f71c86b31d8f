"""Reading and writing a store: short transactions, and several writes joined into one."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Connection, Engine

from scheduler.store.opening import told


class Transactions:
    """The transactions of one store. A thread that has joined its writes stays in one."""

    def __init__(self, engine: Engine, name: str) -> None:
        self.engine, self.name = engine, name
        self._joined = threading.local()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection that sees one state of the store."""
        joined = self._open
        if joined is not None:
            with told(self.name):
                yield joined
            return
        with told(self.name), self.engine.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Give a connection whose writes are on disk when the block ends, all or none."""
        joined = self._open
        if joined is not None:
            with told(self.name):
                yield joined
            return
        with told(self.name), self.engine.connect() as opened:
            connection = opened.execution_options(writes=True)
            with connection.begin():
                yield connection

    @contextmanager
    def together(self) -> Iterator[None]:
        """Join all that this thread writes inside into one transaction, all or none."""
        if self._open is not None:
            yield
            return
        with self.writing() as connection:
            self._joined.connection = connection
            try:
                yield
            finally:
                self._joined.connection = None

    @property
    def _open(self) -> Connection | None:
        return getattr(self._joined, "connection", None)
