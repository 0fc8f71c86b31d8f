"""The third schema: accounts, sessions, links by their hash, forms taken once, who saw what."""

import json
import zlib

import sqlalchemy as sa
from alembic import op

from scheduler.store.migrations.dialects import refuse, table

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

RECORDS = sa.table(
    "records", *(sa.column(n) for n in ("job", "stream", "seq", "kind", "at", "body"))
)
BLOBS = sa.table("blobs", *(sa.column(n) for n in ("identity", "packed")))
LINKS = sa.table(
    "links",
    *(sa.column(n) for n in ("digest", "job", "who", "may_log", "given_at", "withdrawn_at")),
)


def upgrade() -> None:
    """Make the tables of people; links that stood as answers before are carried over."""
    table(
        "CREATE TABLE accounts (name TEXT NOT NULL PRIMARY KEY, role TEXT NOT NULL,"
        " releases TEXT NOT NULL, secret TEXT NOT NULL, changed_at TEXT NOT NULL,"
        " closed INTEGER NOT NULL) STRICT"
    )
    table(
        "CREATE TABLE sessions (digest TEXT NOT NULL PRIMARY KEY, name TEXT NOT NULL,"
        " begun_at TEXT NOT NULL, until TEXT NOT NULL) STRICT"
    )
    table(
        "CREATE TABLE failed (number INTEGER NOT NULL PRIMARY KEY, who TEXT NOT NULL,"
        " at TEXT NOT NULL) STRICT"
    )
    op.execute("CREATE INDEX failed_by_who ON failed (who, at)")
    table(
        "CREATE TABLE links (digest TEXT NOT NULL PRIMARY KEY, job TEXT NOT NULL,"
        " who TEXT NOT NULL, may_log INTEGER NOT NULL, given_at TEXT NOT NULL,"
        " withdrawn_at TEXT) STRICT"
    )
    op.execute("CREATE INDEX links_by_job ON links (job)")
    table(
        "CREATE TABLE posted (job TEXT NOT NULL, form TEXT NOT NULL, who TEXT NOT NULL,"
        " at TEXT NOT NULL, told TEXT NOT NULL, PRIMARY KEY (job, form)) STRICT"
    )
    table(
        "CREATE TABLE seen (job TEXT NOT NULL, decision INTEGER NOT NULL, who TEXT NOT NULL,"
        " at TEXT NOT NULL, PRIMARY KEY (job, decision, who)) STRICT"
    )
    for name, change, when in (
        ("accounts", "DELETE", ""),
        ("links", "DELETE", ""),
        ("links", "UPDATE", "WHEN OLD.withdrawn_at IS NOT NULL OR NEW.digest <> OLD.digest"),
        ("posted", "DELETE", ""),
        ("posted", "UPDATE", ""),
        ("seen", "DELETE", ""),
        ("seen", "UPDATE", ""),
    ):
        refuse(name, change, when=when, says="what is done stays done")
    _carry_links_over()


def _carry_links_over() -> None:
    bind = op.get_bind()
    rows = bind.execute(
        sa.select(RECORDS.c.job, RECORDS.c.at, RECORDS.c.body)
        .where(RECORDS.c.stream == "decision", RECORDS.c.kind == "link")
        .order_by(RECORDS.c.job, RECORDS.c.seq)
    ).all()
    for job, at, body in rows:
        packed = bind.execute(
            sa.select(BLOBS.c.packed).where(BLOBS.c.identity == json.loads(body)["answer"])
        ).scalar_one()
        told = json.loads(zlib.decompress(packed))
        if told["withdrawn"]:
            mine = sa.and_(
                LINKS.c.job == job, LINKS.c.who == told["who"], LINKS.c.withdrawn_at.is_(None)
            )
            bind.execute(sa.update(LINKS).where(mine).values(withdrawn_at=at))
        else:
            row = {"job": job, "who": told["who"], "digest": told["digest"]}
            more = {"may_log": int(told["may_log"]), "given_at": at, "withdrawn_at": None}
            bind.execute(sa.insert(LINKS).values({**row, **more}))


def downgrade() -> None:
    """Refuse: a store is never taken back."""
    raise NotImplementedError("a store is never taken back")
