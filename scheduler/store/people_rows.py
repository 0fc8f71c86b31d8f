"""People's accounts, sessions and links; each change of who may do what goes into the chain."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime
from hashlib import sha256
from typing import Any, Final

from sqlalchemy import Connection, Row, and_, delete, func, insert, select, update

from rules.errors import StoreFault
from scheduler.interfaces.people import Account, Link, Role, Seen, Session
from scheduler.store.outbox_rows import Note
from scheduler.store.rows import dump, moment_of, stamp
from scheduler.store.tables import ACCOUNTS, FAILED, LINKS, POSTED, RECORDS, SEEN, SESSIONS
from scheduler.store.transactions import Transactions

PEOPLE: Final = "people"  # the stream of records
SAW: Final = "seen"  # the stream of who opened which answer
EVERY_JOB: Final = ""  # in whose stream accounts are recorded: they are of no one job


class SqlPeople:
    """See ``scheduler.interfaces.protocols.People`` for what it promises."""

    def __init__(self, transactions: Transactions, note: Note) -> None:
        self._in, self._note = transactions, note

    def put_account(self, account: Account) -> None:
        """Open an account, or change one; the newest state stands."""
        row = {
            "role": account.role.value,
            "releases": dump(list(account.releases)),
            "secret": account.secret,
            "changed_at": stamp(account.changed_at),
            "closed": int(account.closed),
        }
        with self._in.writing() as connection:
            mine = ACCOUNTS.c.name == account.name
            if connection.execute(select(ACCOUNTS.c.name).where(mine)).first():
                connection.execute(update(ACCOUNTS).where(mine).values(row))
            else:
                connection.execute(insert(ACCOUNTS).values({"name": account.name, **row}))
            if account.closed:
                connection.execute(delete(SESSIONS).where(SESSIONS.c.name == account.name))
            body = _recorded({"name": account.name, **row})
            at = stamp(account.changed_at)
            self._note(connection, EVERY_JOB, PEOPLE, at, "account", dump(body))

    def accounts(self) -> tuple[Account, ...]:
        """Return the accounts by name, closed ones too."""
        with self._in.reading() as connection:
            rows = connection.execute(select(ACCOUNTS).order_by(ACCOUNTS.c.name))
            return tuple(_account(row) for row in rows)

    def account(self, name: str) -> Account | None:
        """Return an account that is open; None where there is none of that name."""
        with self._in.reading() as connection:
            wanted = select(ACCOUNTS).where(ACCOUNTS.c.name == name, ACCOUNTS.c.closed == 0)
            row = connection.execute(wanted).one_or_none()
            return None if row is None else _account(row)

    def begin_session(self, session: Session) -> None:
        """Write down that somebody has signed in; sessions that have ended are cleared away."""
        with self._in.writing() as connection:
            old = SESSIONS.c.until <= stamp(session.begun_at)
            connection.execute(delete(SESSIONS).where(old))
            row = {
                "digest": session.digest,
                "name": session.name,
                "begun_at": stamp(session.begun_at),
                "until": stamp(session.until),
            }
            connection.execute(insert(SESSIONS).values(row))

    def session(self, digest: str, *, now: datetime) -> tuple[Session, Account] | None:
        """Return a session that lasts, with its open account; None where there is none."""
        with self._in.reading() as connection:
            mine = and_(SESSIONS.c.digest == digest, SESSIONS.c.until > stamp(now))
            row = connection.execute(select(SESSIONS).where(mine)).one_or_none()
            if row is None:
                return None
            own = and_(ACCOUNTS.c.name == row.name, ACCOUNTS.c.closed == 0)
            who = connection.execute(select(ACCOUNTS).where(own)).one_or_none()
            if who is None:
                return None
        found = Session(row.digest, row.name, moment_of(row.begun_at), moment_of(row.until))
        return found, _account(who)

    def end_session(self, digest: str) -> None:
        """Sign out."""
        with self._in.writing() as connection:
            connection.execute(delete(SESSIONS).where(SESSIONS.c.digest == digest))

    def end_sessions(self, name: str) -> None:
        """Sign a person out everywhere."""
        with self._in.writing() as connection:
            connection.execute(delete(SESSIONS).where(SESSIONS.c.name == name))

    def failed(self, who: str, *, now: datetime, forget: datetime) -> None:
        """Write down that a signing-in failed; those before ``forget`` are cleared away."""
        with self._in.writing() as connection:
            connection.execute(delete(FAILED).where(FAILED.c.at < stamp(forget)))
            connection.execute(insert(FAILED).values({"who": who, "at": stamp(now)}))

    def failures(self, who: str, *, since: datetime) -> int:
        """Return how many failed since a moment."""
        with self._in.reading() as connection:
            mine = and_(FAILED.c.who == who, FAILED.c.at >= stamp(since))
            wanted = select(func.count()).select_from(FAILED).where(mine)
            return int(connection.execute(wanted).scalar_one())

    def forget_failures(self, who: str) -> None:
        """Clear away what failed: the person has signed in."""
        with self._in.writing() as connection:
            connection.execute(delete(FAILED).where(FAILED.c.who == who))

    def give_link(self, link: Link) -> None:
        """Let a person read a job's pages by a link."""
        row = {
            "digest": link.digest,
            "job": link.job,
            "who": link.who,
            "may_log": int(link.may_log),
            "given_at": stamp(link.given_at),
            "withdrawn_at": None,
        }
        with self._in.writing() as connection:
            connection.execute(insert(LINKS).values(row))
            self._note(connection, link.job, PEOPLE, stamp(link.given_at), "link", dump(row))

    def withdraw_links(self, job: str, who: str, *, now: datetime) -> int:
        """Withdraw every link of a person to a job; return how many there were."""
        with self._in.writing() as connection:
            mine = and_(LINKS.c.job == job, LINKS.c.who == who, LINKS.c.withdrawn_at.is_(None))
            digests = list(connection.execute(select(LINKS.c.digest).where(mine)).scalars())
            if digests:
                connection.execute(update(LINKS).where(mine).values(withdrawn_at=stamp(now)))
                body = dump({"who": who, "digests": sorted(digests)})
                self._note(connection, job, PEOPLE, stamp(now), "withdrawn", body)
        return len(digests)

    def links(self, job: str) -> tuple[Link, ...]:
        """Return the links of a job that stand, the oldest first."""
        with self._in.reading() as connection:
            mine = and_(LINKS.c.job == job, LINKS.c.withdrawn_at.is_(None))
            rows = connection.execute(select(LINKS).where(mine).order_by(LINKS.c.given_at))
            return tuple(_link(row) for row in rows)

    def link(self, digest: str) -> Link | None:
        """Return the link with that hash; None where it was never given, or is withdrawn."""
        with self._in.reading() as connection:
            mine = and_(LINKS.c.digest == digest, LINKS.c.withdrawn_at.is_(None))
            row = connection.execute(select(LINKS).where(mine)).one_or_none()
            return None if row is None else _link(row)

    def posted(self, job: str, form: str) -> str | None:
        """Return what a form with that key was answered; None where it was never taken."""
        with self._in.reading() as connection:
            mine = and_(POSTED.c.job == job, POSTED.c.form == form)
            told = connection.execute(select(POSTED.c.told).where(mine)).scalar_one_or_none()
            return None if told is None else str(told)

    def post(self, job: str, form: str, *, who: str, told: str, now: datetime) -> None:
        """Write down that a form was taken.

        Raises
        ------
        StoreFault
            If it was taken before.
        """
        with self._in.writing() as connection:
            if self.posted(job, form) is not None:
                raise StoreFault(f"the form {form} was taken before")
            row = {"job": job, "form": form, "who": who, "at": stamp(now), "told": told}
            connection.execute(insert(POSTED).values(row))

    def saw(self, job: str, decision: int, who: str, *, now: datetime) -> bool:
        """Write down that a person has opened an answer; False where that is known already."""
        with self._in.writing() as connection:
            mine = and_(SEEN.c.job == job, SEEN.c.decision == decision, SEEN.c.who == who)
            if connection.execute(select(SEEN.c.at).where(mine)).first():
                return False
            row = {"job": job, "decision": decision, "who": who, "at": stamp(now)}
            connection.execute(insert(SEEN).values(row))
            body = dump({"decision": decision, "who": who})
            self._note(connection, job, SAW, stamp(now), "opened", body)
            return True

    def who_saw(self, job: str) -> tuple[Seen, ...]:
        """Return who opened which answer, in the order of opening."""
        with self._in.reading() as connection:
            mine = select(SEEN).where(SEEN.c.job == job).order_by(SEEN.c.at, SEEN.c.who)
            rows = connection.execute(mine)
            return tuple(Seen(row.decision, row.who, moment_of(row.at)) for row in rows)


def changed_people(connection: Connection) -> Iterator[str]:
    """Yield a line for each account or link that stands otherwise than its record says."""
    told: dict[str, dict[str, Any]] = {}
    given: dict[str, dict[str, Any]] = {}
    withdrawn: set[str] = set()
    rows = connection.execute(
        select(RECORDS.c.kind, RECORDS.c.body)
        .where(RECORDS.c.stream == PEOPLE)
        .order_by(RECORDS.c.job, RECORDS.c.seq)
    )
    for kind, raw in rows:
        body = json.loads(raw)
        if kind == "account":
            told[body["name"]] = body
        elif kind == "link":
            given[body["digest"]] = body
        else:
            withdrawn |= set(body["digests"])
    for row in connection.execute(select(ACCOUNTS)).mappings():
        if told.pop(row["name"], None) != _recorded(dict(row)):
            yield f"account {row['name']}: was changed behind the store's back"
    yield from (f"account {name}: was taken out" for name in told)
    for row in connection.execute(select(LINKS)).mappings():
        said, stands = given.get(row["digest"]), row["withdrawn_at"] is None
        if said is None:
            continue  # given before links were recorded so; its answer is in the chain
        same = {**dict(row), "withdrawn_at": None} == said
        if not same or stands == (row["digest"] in withdrawn):
            yield f"link of {row['who']} to {row['job']}: was changed behind the store's back"


def _recorded(row: dict[str, Any]) -> dict[str, Any]:
    """Return an account as it is recorded: of the password's hash, a hash only."""
    return {**row, "secret": sha256(row["secret"].encode()).hexdigest()}


def _account(row: Row[Any]) -> Account:
    return Account(
        name=row.name,
        role=Role(row.role),
        releases=tuple(json.loads(row.releases)),
        secret=row.secret,
        changed_at=moment_of(row.changed_at),
        closed=bool(row.closed),
    )


def _link(row: Row[Any]) -> Link:
    return Link(row.job, row.who, row.digest, bool(row.may_log), moment_of(row.given_at))
