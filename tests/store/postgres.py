"""An empty PostgreSQL database of this test process, where CLOSEIN_TEST_POSTGRES names a server.

It holds an address such as ``postgresql://postgres@/postgres?host=/tmp/cluster``; the user may
create databases.
"""

from __future__ import annotations

import os

import pytest
from sqlalchemy import create_engine, make_url
from sqlalchemy.pool import NullPool


def fresh_postgres() -> str:
    """Return the address of a database that was just made; skip where no server is named."""
    address = os.environ.get("CLOSEIN_TEST_POSTGRES")
    if not address:
        pytest.skip("CLOSEIN_TEST_POSTGRES names no server")
    url = make_url(address).set(drivername="postgresql+psycopg")
    name = f"closein_test_{os.getpid()}"
    engine = create_engine(url, isolation_level="AUTOCOMMIT", poolclass=NullPool)
    with engine.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    return url.set(database=name).render_as_string(hide_password=False)
