"""The tables of the store, as the newest migration leaves them."""

from __future__ import annotations

from typing import Final

from sqlalchemy import Column, Integer, LargeBinary, MetaData, String, Table, UniqueConstraint

APPLICATION: Final = 0x436C496E  # SQLite's application_id: this file is a store of Closein
SCHEMAS: Final = ("0001", "0002", "0003")  # every schema there has been, the newest last

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

# Jobs that the service looks after.
WATCHED: Final = Table(
    "watched",
    METADATA,
    Column("job", String, primary_key=True),
    Column("file", String, nullable=False),
    Column("weather", String, nullable=False),
    Column("climate", String, nullable=False),
    Column("since", String, nullable=False),
)

# One row a run of a job; its key is what keeps two processes from doing it twice.
RUNS: Final = Table(
    "runs",
    METADATA,
    Column("job", String, primary_key=True),
    Column("kind", String, primary_key=True),
    Column("slot", String, primary_key=True),
    Column("claim", String, nullable=False),
    Column("tries", Integer, nullable=False),
    Column("begun_at", String, nullable=False),
    Column("until", String, nullable=False),
    Column("done_at", String),
    Column("told", String, nullable=False),
    Column("body", String, nullable=False),
)

# One row a message; see ``planning/messages.py`` for its steps.
OUTBOX: Final = Table(
    "outbox",
    METADATA,
    Column("number", Integer, primary_key=True),
    Column("job", String, nullable=False),
    Column("recipient", String, nullable=False),
    Column("kind", String, nullable=False),
    Column("day", String, nullable=False),
    Column("channel", String, nullable=False),
    Column("message_id", String, nullable=False, unique=True),
    Column("content", String, nullable=False),
    Column("step", String, nullable=False),
    Column("tries", Integer, nullable=False),
    Column("next_try", String, nullable=False),
    Column("claim", String, nullable=False),
    Column("changed_at", String, nullable=False),
    Column("told", String, nullable=False),
    Column("seen_by", String, nullable=False),
    UniqueConstraint("job", "recipient", "kind", "day"),
)

# People: their accounts, signings-in, failed ones, links, forms taken, answers opened.
ACCOUNTS: Final = Table(
    "accounts",
    METADATA,
    Column("name", String, primary_key=True),
    Column("role", String, nullable=False),
    Column("releases", String, nullable=False),
    Column("secret", String, nullable=False),
    Column("changed_at", String, nullable=False),
    Column("closed", Integer, nullable=False),
)
SESSIONS: Final = Table(
    "sessions",
    METADATA,
    Column("digest", String, primary_key=True),
    Column("name", String, nullable=False),
    Column("begun_at", String, nullable=False),
    Column("until", String, nullable=False),
)
FAILED: Final = Table(
    "failed",
    METADATA,
    Column("number", Integer, primary_key=True),
    Column("who", String, nullable=False),
    Column("at", String, nullable=False),
)
LINKS: Final = Table(
    "links",
    METADATA,
    Column("digest", String, primary_key=True),
    Column("job", String, nullable=False),
    Column("who", String, nullable=False),
    Column("may_log", Integer, nullable=False),
    Column("given_at", String, nullable=False),
    Column("withdrawn_at", String),
)
POSTED: Final = Table(
    "posted",
    METADATA,
    Column("job", String, primary_key=True),
    Column("form", String, primary_key=True),
    Column("who", String, nullable=False),
    Column("at", String, nullable=False),
    Column("told", String, nullable=False),
)
SEEN: Final = Table(
    "seen",
    METADATA,
    Column("job", String, primary_key=True),
    Column("decision", Integer, primary_key=True, autoincrement=False),
    Column("who", String, primary_key=True),
    Column("at", String, nullable=False),
)
