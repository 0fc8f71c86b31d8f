"""Which jobs are watched and which runs were begun and done; the keys keep a run from doubling."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from uuid import uuid4

from sqlalchemy import Row, delete, insert, or_, select, update

from scheduler.interfaces.messages import CLOCK, RunRow, Watched
from scheduler.store.rows import moment_of, stamp
from scheduler.store.tables import RUNS, WATCHED
from scheduler.store.transactions import Transactions


class SqlRuns:
    """See ``scheduler.interfaces.protocols.Runs`` for what it promises."""

    def __init__(self, transactions: Transactions) -> None:
        self._in = transactions

    def watch(self, watched: Watched) -> None:
        """Look after a job from now on; what it was watched by before is replaced."""
        with self._in.writing() as connection:
            old = connection.execute(
                select(WATCHED.c.since).where(WATCHED.c.job == watched.job)
            ).scalar_one_or_none()
            connection.execute(delete(WATCHED).where(WATCHED.c.job == watched.job))
            since = stamp(watched.since)
            row = {
                "job": watched.job,
                "file": watched.file,
                "weather": watched.weather,
                "climate": watched.climate,
                "since": min(old or since, since),  # a clock that ran ahead wrote a later one
            }
            connection.execute(insert(WATCHED).values(row))

    def forget(self, job: str) -> None:
        """Look after a job no more; what is kept of it stays."""
        with self._in.writing() as connection:
            connection.execute(delete(WATCHED).where(WATCHED.c.job == job))

    def watched(self) -> tuple[Watched, ...]:
        """Return the jobs that are looked after, by id."""
        with self._in.reading() as connection:
            rows = connection.execute(select(WATCHED).order_by(WATCHED.c.job)).all()
        return tuple(
            Watched(r.job, r.file, r.weather, r.climate, moment_of(r.since)) for r in rows
        )

    def claim(self, job: str, kind: str, slot: str, *, now: datetime, until: datetime) -> str:
        """Begin a run and return the claim; empty where it is done or another has it."""
        claim = uuid4().hex
        own = (RUNS.c.job == job) & (RUNS.c.kind == kind) & (RUNS.c.slot == slot)
        fields = {"claim": claim, "begun_at": stamp(now), "until": stamp(until)}
        with self._in.writing() as connection:
            row = connection.execute(select(RUNS).where(own)).one_or_none()
            if row is None:
                key = {"job": job, "kind": kind, "slot": slot, "tries": 1, "told": "", "body": ""}
                connection.execute(insert(RUNS).values({**key, **fields}))
                return claim
            if row.done_at is not None or row.until > stamp(now):
                return ""
            connection.execute(update(RUNS).where(own).values(**fields, tries=row.tries + 1))
        return claim

    def finish(
        self, job: str, kind: str, slot: str, claim: str, *, now: datetime, told: str, body: str
    ) -> bool:
        """Write a run down as done; False where another process has taken it over."""
        own = (RUNS.c.job == job) & (RUNS.c.kind == kind) & (RUNS.c.slot == slot)
        mine = own & (RUNS.c.claim == claim) & RUNS.c.done_at.is_(None)
        with self._in.writing() as connection:
            done = connection.execute(
                update(RUNS).where(mine).values(done_at=stamp(now), told=told, body=body)
            )
            return done.rowcount == 1

    def let_go(self, job: str, kind: str, slot: str, claim: str, *, now: datetime) -> int:
        """Let others begin a run that broke off, and return how often it was begun so far."""
        own = (RUNS.c.job == job) & (RUNS.c.kind == kind) & (RUNS.c.slot == slot)
        mine = own & (RUNS.c.claim == claim) & RUNS.c.done_at.is_(None)
        with self._in.writing() as connection:
            connection.execute(update(RUNS).where(mine).values(until=stamp(now)))
            tries = connection.execute(select(RUNS.c.tries).where(own)).scalar_one_or_none()
            return int(tries or 0)

    def last(self, job: str, kind: str, count: int = 1) -> tuple[RunRow, ...]:
        """Return the newest runs of a kind that are done and count, newest first."""
        wanted = select(RUNS).where(
            RUNS.c.job == job, RUNS.c.kind == kind, RUNS.c.done_at.is_not(None)
        )
        ahead = {slot for own, slot in self.ahead(job) if own == kind}
        wanted = wanted.where(RUNS.c.slot.not_in(ahead)) if ahead else wanted
        with self._in.reading() as connection:
            rows = connection.execute(
                wanted.order_by(RUNS.c.done_at.desc(), RUNS.c.slot.desc()).limit(count)
            ).all()
        return tuple(_run(row) for row in rows)

    def later_than(self, job: str, moment: datetime) -> tuple[RunRow, ...]:
        """Return the runs that were begun or done after a moment."""
        after = or_(RUNS.c.begun_at > stamp(moment), RUNS.c.done_at > stamp(moment))
        with self._in.reading() as connection:
            rows = connection.execute(select(RUNS).where(RUNS.c.job == job, after)).all()
        return tuple(_run(row) for row in rows)

    def ahead(self, job: str) -> frozenset[tuple[str, str]]:
        """Return the runs (kind, slot) that a clock that ran ahead has made; they do not count."""
        wanted = select(RUNS.c.body).where(RUNS.c.job == job, RUNS.c.kind == CLOCK)
        with self._in.reading() as connection:
            bodies = connection.execute(wanted).scalars().all()
        return frozenset(
            (kind, slot) for body in bodies for kind, slot in json.loads(body or "[]")
        )

    def begun(self, job: str, slots: Sequence[tuple[str, str]]) -> tuple[RunRow, ...]:
        """Return which of these runs (kind, slot) were begun, done or not."""
        names = {slot for _, slot in slots}
        wanted = select(RUNS).where(RUNS.c.job == job, RUNS.c.slot.in_(names))
        with self._in.reading() as connection:
            rows = connection.execute(wanted).all()
        return tuple(_run(row) for row in rows if (row.kind, row.slot) in set(slots))


def _run(row: Row[tuple[object, ...]]) -> RunRow:
    return RunRow(
        job=row.job,
        kind=row.kind,
        slot=row.slot,
        claim=row.claim,
        tries=row.tries,
        begun_at=moment_of(row.begun_at),
        until=moment_of(row.until),
        done_at=None if row.done_at is None else moment_of(row.done_at),
        told=row.told,
        body=row.body,
    )
