"""The second schema: jobs watched, runs done, and the outbox."""

from alembic import op

from scheduler.store.migrations.dialects import refuse, table

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

STEPS = "'waiting', 'claimed', 'sending', 'sent', 'in_doubt', 'given_up'"


def upgrade() -> None:
    """Make the tables of the service."""
    table(
        "CREATE TABLE watched (job TEXT NOT NULL PRIMARY KEY, file TEXT NOT NULL,"
        " weather TEXT NOT NULL, climate TEXT NOT NULL, since TEXT NOT NULL) STRICT"
    )
    table(
        "CREATE TABLE runs (job TEXT NOT NULL, kind TEXT NOT NULL, slot TEXT NOT NULL,"
        " claim TEXT NOT NULL, tries INTEGER NOT NULL, begun_at TEXT NOT NULL,"
        " until TEXT NOT NULL, done_at TEXT, told TEXT NOT NULL, body TEXT NOT NULL,"
        " PRIMARY KEY (job, kind, slot)) STRICT"
    )
    table(
        "CREATE TABLE outbox (number INTEGER NOT NULL PRIMARY KEY, job TEXT NOT NULL,"
        " recipient TEXT NOT NULL, kind TEXT NOT NULL, day TEXT NOT NULL, channel TEXT NOT NULL,"
        " message_id TEXT NOT NULL UNIQUE, content TEXT NOT NULL,"
        f" step TEXT NOT NULL CHECK (step IN ({STEPS})),"
        " tries INTEGER NOT NULL, next_try TEXT NOT NULL, claim TEXT NOT NULL,"
        " changed_at TEXT NOT NULL, told TEXT NOT NULL, seen_by TEXT NOT NULL,"
        " UNIQUE (job, recipient, kind, day)) STRICT"
    )
    op.execute("CREATE INDEX outbox_by_step ON outbox (step, next_try)")
    # What has left is never sent again, whatever a program tries to write.
    for name, change, when in (
        ("outbox", "DELETE", ""),
        (
            "outbox",
            "UPDATE",
            (
                "WHEN OLD.step IN ('sent', 'in_doubt', 'given_up') AND NEW.step <> OLD.step"
                " OR OLD.step = 'sending' AND NEW.step = 'claimed'"
            ),
        ),
        ("runs", "DELETE", ""),
        ("runs", "UPDATE", "WHEN OLD.done_at IS NOT NULL"),
    ):
        refuse(name, change, when=when, says="what is done stays done")


def downgrade() -> None:
    """Refuse: a store is never taken back."""
    raise NotImplementedError("a store is never taken back")
