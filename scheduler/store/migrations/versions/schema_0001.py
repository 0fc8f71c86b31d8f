"""The first schema: records in streams, bytes by identity, both append-only."""

from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

APPLICATION = 0x436C496E  # "ClIn"


def upgrade() -> None:
    """Make the first tables and the triggers that keep them append-only."""
    op.execute(f"PRAGMA application_id = {APPLICATION}")
    op.execute(
        "CREATE TABLE records ("
        " job TEXT NOT NULL, stream TEXT NOT NULL, seq INTEGER NOT NULL CHECK (seq > 0),"
        " at TEXT NOT NULL, entered_at TEXT NOT NULL, kind TEXT NOT NULL, body TEXT NOT NULL,"
        " previous TEXT NOT NULL, hash TEXT NOT NULL,"
        " PRIMARY KEY (job, stream, seq)) STRICT"
    )
    op.execute(
        "CREATE TABLE blobs (identity TEXT NOT NULL PRIMARY KEY, size INTEGER NOT NULL,"
        " packed BLOB NOT NULL) STRICT"
    )
    for table in ("records", "blobs"):
        for change in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{change.lower()} BEFORE {change} ON {table}"
                f" BEGIN SELECT RAISE(ABORT, 'the store is append-only'); END"
            )


def downgrade() -> None:
    """Refuse: a store is never taken back to nothing."""
    raise NotImplementedError("a store is never taken back")
