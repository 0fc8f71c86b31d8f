"""The first schema: records in streams, bytes by identity, both append-only."""

from alembic import op

from scheduler.store.migrations.dialects import is_postgres, refuse, table

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

APPLICATION = 0x436C496E  # "ClIn"


def upgrade() -> None:
    """Make the first tables and the triggers that keep them append-only."""
    if not is_postgres():
        op.execute(f"PRAGMA application_id = {APPLICATION}")
    table(
        "CREATE TABLE records ("
        " job TEXT NOT NULL, stream TEXT NOT NULL, seq INTEGER NOT NULL CHECK (seq > 0),"
        " at TEXT NOT NULL, entered_at TEXT NOT NULL, kind TEXT NOT NULL, body TEXT NOT NULL,"
        " previous TEXT NOT NULL, hash TEXT NOT NULL,"
        " PRIMARY KEY (job, stream, seq)) STRICT"
    )
    table(
        "CREATE TABLE blobs (identity TEXT NOT NULL PRIMARY KEY, size INTEGER NOT NULL,"
        " packed BLOB NOT NULL) STRICT"
    )
    # Nothing is changed or taken away, and nothing is put over what is there: REPLACE would
    # delete without the triggers of DELETE (sqlite.org/lang_conflict.html).
    for name in ("records", "blobs"):
        for change in ("UPDATE", "DELETE"):
            _refuse(name, change, when="")
    last = "SELECT max(seq) FROM records WHERE job = NEW.job AND stream = NEW.stream"
    _refuse("records", "INSERT", when=f"WHEN NEW.seq <> ifnull(({last}), 0) + 1")
    there = "SELECT 1 FROM blobs WHERE identity = NEW.identity"
    _refuse("blobs", "INSERT", when=f"WHEN EXISTS ({there})")


def _refuse(name: str, change: str, *, when: str) -> None:
    refuse(name, change, when=when, says="the store is append-only")


def downgrade() -> None:
    """Refuse: a store is never taken back to nothing."""
    raise NotImplementedError("a store is never taken back")
