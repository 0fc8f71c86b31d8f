"""Opening a store: its address, how SQLite is set, its schema, and its faults in plain words.

A store is an SQLite file, or a PostgreSQL database of its own for those who run one already.
In PostgreSQL writers wait for each other at an advisory lock, as they do in SQLite, and readers
see one state of the store.

In SQLite the rollback journal (``DELETE``) is used, not the write-ahead log: the store stays one
file that a builder can copy to a stick, and a read-only copy still opens. ``synchronous =
EXTRA`` syncs the file and, after the journal is gone, its folder before a commit returns, so an
acknowledged entry outlives a kill and a power cut (sqlite.org/pragma.html#pragma_synchronous).
Writers begin with ``BEGIN IMMEDIATE`` and so wait for each other, up to ``WAIT_S``.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Engine, create_engine, event, inspect, make_url
from sqlalchemy.exc import ArgumentError, DatabaseError, DBAPIError
from sqlalchemy.pool import NullPool, StaticPool

from rules.errors import StoreFault
from scheduler.store.tables import APPLICATION, SCHEMAS

WAIT_S: Final = 30.0  # a commit takes milliseconds; who waits longer waits for a hung process
MIGRATIONS: Final = Path(__file__).parent / "migrations"
# What SQLite says (sqlite.org/rescode.html), and what a person can do.
TOLD: Final = {
    sqlite3.SQLITE_BUSY: "is in use by another run of Closein that does not end; end that one",
    sqlite3.SQLITE_LOCKED: "is in use by another run of Closein; try again",
    sqlite3.SQLITE_READONLY: "is read-only; give yourself the right to write to it and its folder",
    sqlite3.SQLITE_FULL: "cannot grow, the disk is full; nothing was written, make room",
    sqlite3.SQLITE_CORRUPT: "is damaged; keep the file, take the newest copy",
    sqlite3.SQLITE_NOTADB: "is not a store of Closein; name another file",
    sqlite3.SQLITE_CANTOPEN: "cannot be opened; see that its folder is there and can be written",
    sqlite3.SQLITE_IOERR: "cannot be read or written, the disk reports a fault",
}


def engine_of(address: str) -> tuple[Engine, str]:
    """Return an engine for an address, a path or a URL, and its name for people.

    Raises
    ------
    StoreFault
        If the address names another kind of database.
    """
    path = address.removeprefix("sqlite:///") if address.startswith("sqlite:///") else address
    if address in {"sqlite://", ":memory:"}:
        return _engine("sqlite://", poolclass=StaticPool), "the store in memory"
    if "://" in path:
        kind = path.partition("://")[0]
        if kind in {"postgresql", "postgresql+psycopg"}:
            return _postgres(address)
        raise StoreFault(f"store {kind}://...: {kind} is not known; give a file's path")
    return _engine(f"sqlite:///{Path(path).absolute()}", poolclass=NullPool), path


def _engine(url: str, **how: Any) -> Engine:  # SQLAlchemy's own type of an option
    engine = create_engine(url, connect_args={"timeout": WAIT_S, "isolation_level": None}, **how)
    event.listen(engine, "connect", _set)
    event.listen(engine, "begin", _begin)
    return engine


def _postgres(address: str) -> tuple[Engine, str]:
    """Return an engine for a PostgreSQL database; its name for people has no password in it."""
    try:
        import psycopg  # noqa: F401 - before a decoder's library, which cannot bear it after
    except ImportError as error:
        raise StoreFault("for PostgreSQL do pip install closein[postgres]") from error
    try:
        url = make_url(address).set(drivername="postgresql+psycopg")
    except ArgumentError as error:
        raise StoreFault("the store's address is no address of PostgreSQL") from error
    engine = create_engine(url, poolclass=NullPool)
    event.listen(engine, "begin", _begin_postgres)
    return engine, url.render_as_string(hide_password=True)


def _begin_postgres(connection: Connection) -> None:
    if connection.get_execution_options().get("writes", False):
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = {int(WAIT_S * 1000)}")
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({APPLICATION})")
    else:
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")


def _set(connection: sqlite3.Connection, _: object) -> None:
    for pragma in ("journal_mode = DELETE", "synchronous = EXTRA", "trusted_schema = OFF"):
        connection.execute(f"PRAGMA {pragma}")


def _begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def told(name: str) -> Iterator[None]:
    """Turn what SQLite says into a StoreFault that names the store."""
    try:
        yield
    except DBAPIError as error:
        raise StoreFault(f"store {name} {_reason(error)}") from error


def _reason(error: DBAPIError) -> str:
    code = getattr(error.orig, "sqlite_errorcode", 0) & 0xFF
    if isinstance(error, DatabaseError) and code in TOLD:
        return TOLD[code]
    return f"refused: {' '.join(str(error.orig).split())}"


def bring_up_to_date(engine: Engine, name: str) -> None:
    """Make the tables of a new store, or bring an older one to the newest schema.

    Raises
    ------
    StoreFault
        If the file is another program's database, or a newer Closein's.
    """
    with told(name):
        with engine.connect() as connection:
            schema = _schema(connection, name)
        if schema == SCHEMAS[-1]:
            return
        with engine.connect() as opened:
            connection = opened.execution_options(writes=True)
            with connection.begin():
                if _schema(connection, name) != SCHEMAS[-1]:  # another run may have been first
                    _migrate(connection)


def _schema(connection: Connection, name: str) -> str | None:
    """Return the schema a file or database has, None where it is empty."""
    if connection.dialect.name == "postgresql":
        there = set(inspect(connection).get_table_names())
        if not there:
            return None
        if not {"records", "alembic_version"} <= there:
            raise StoreFault(f"store {name} is another program's database; name another")
        return _known_schema(connection, name)
    application = connection.exec_driver_sql("PRAGMA application_id").scalar()
    tables = connection.exec_driver_sql("SELECT count(*) FROM sqlite_master").scalar()
    if application == 0 and tables == 0:
        return None
    if application != APPLICATION:
        raise StoreFault(f"store {name} is another program's database; name another file")
    return _known_schema(connection, name)


def _known_schema(connection: Connection, name: str) -> str:
    schema = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
    if schema not in SCHEMAS:
        raise StoreFault(
            f"store {name} has schema {schema}, this Closein knows up to {SCHEMAS[-1]};"
            " use the newer Closein that wrote it"
        )
    return str(schema)


def _migrate(connection: Connection) -> None:
    from alembic import command  # only a new or an old store pays for it
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
