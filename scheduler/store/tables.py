"""The tables of the store, as the newest migration leaves them."""

from __future__ import annotations

from typing import Final

from sqlalchemy import Column, Integer, LargeBinary, MetaData, String, Table

APPLICATION: Final = 0x436C496E  # SQLite's application_id: this file is a store of Closein
SCHEMAS: Final = ("0001",)  # every schema there has been, the newest last

METADATA: Final = MetaData()

# One row a record of one of a job's streams: log, forecast, decision. Append-only by triggers.
RECORDS: Final = Table(
    "records",
    METADATA,
    Column("job", String, primary_key=True),
    Column("stream", String, primary_key=True),
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("at", String, nullable=False),
    Column("entered_at", String, nullable=False),
    Column("kind", String, nullable=False),
    Column("body", String, nullable=False),
    Column("previous", String, nullable=False),
    Column("hash", String, nullable=False),
)

# Bytes as they came, found by their SHA-256; packed with zlib. Append-only by triggers.
BLOBS: Final = Table(
    "blobs",
    METADATA,
    Column("identity", String, primary_key=True),
    Column("size", Integer, nullable=False),
    Column("packed", LargeBinary, nullable=False),
)
