"""The store over SQLAlchemy Core: three streams of records for each job, and bytes by identity."""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from datetime import datetime
from typing import Any, Final

from sqlalchemy import Connection, insert, select

from rules.errors import LogMoved, StoreFault
from scheduler.interfaces.messages import ENDS
from scheduler.interfaces.people import Photo
from scheduler.interfaces.records import Decision, Inputs, KeptForecast
from scheduler.planning.model.log import Entry
from scheduler.store.chain import FIRST, Record, breaks, identity, record_hash
from scheduler.store.opening import bring_up_to_date, engine_of
from scheduler.store.outbox_rows import MAIL, SqlOutbox
from scheduler.store.people_rows import EVERY_JOB, SqlPeople, changed_people
from scheduler.store.rows import dump, entry_body, entry_of, moment_of, stamp
from scheduler.store.run_rows import SqlRuns
from scheduler.store.tables import BLOBS, OUTBOX, RECORDS
from scheduler.store.transactions import Transactions

LOG: Final = "log"
FORECAST: Final = "forecast"
DECISION: Final = "decision"
PHOTO: Final = "photo"


class SqlStore:
    """A store in an SQLite file; ``interfaces.protocols.Store`` says what it promises."""

    def __init__(self, address: str) -> None:
        """Open the store at a path or SQLite URL; make it where there is none."""
        self._engine, self.name = engine_of(address)
        bring_up_to_date(self._engine, self.name)
        self._in = Transactions(self._engine, self.name)
        self.runs = SqlRuns(self._in)
        self.outbox = SqlOutbox(self._in, _put, _note)
        self.people = SqlPeople(self._in, _note)

    def together(self) -> AbstractContextManager[None]:
        """Join all that this thread writes inside into one transaction, all or none."""
        return self._in.together()

    def close(self) -> None:
        """Let go of the file."""
        self._engine.dispose()

    def jobs(self) -> tuple[str, ...]:
        """Return the ids of the jobs that anything is kept for."""
        with self._in.reading() as connection:
            rows = connection.execute(select(RECORDS.c.job).distinct().order_by(RECORDS.c.job))
            return tuple(job for job in rows.scalars() if job != EVERY_JOB)

    def append(
        self, job: str, entries: Sequence[Entry], *, entered_at: datetime, after: int | None = None
    ) -> tuple[Entry, ...]:
        """Write entries down, all or none, and return them with their numbers."""
        with self._in.writing() as connection:
            head = _head(connection, job, LOG)
            if after is not None and head[0] != after:
                raise LogMoved(f"store {self.name}: entry {head[0]} came in between; try again")
            written = tuple(
                replace(entry, seq=head[0] + 1 + place, entered_at=entered_at)
                for place, entry in enumerate(entries)
            )
            for entry in written:
                head = _add(
                    connection,
                    (job, LOG, *head),
                    at=stamp(entry.at),
                    entered_at=stamp(entered_at),
                    kind=str(entry.kind),
                    body=entry_body(entry),
                )
        return written

    def entries(self, job: str, *, until: datetime | None = None) -> tuple[Entry, ...]:
        """Return the log in order of writing; ``until`` leaves out what was written later."""
        return tuple(entry_of(record.body) for record in self._stream(job, LOG, until=until))

    def keep_forecast(
        self,
        job: str,
        raw: bytes,
        *,
        role: str,
        source: str,
        issued_at: datetime | None,
        received_at: datetime,
    ) -> KeptForecast:
        """Keep weather bytes as they came; the same bytes again are kept once."""
        name = identity(raw)
        with self._in.writing() as connection:
            for record in _records(connection, job, FORECAST, role, stamp(received_at)):
                kept = _forecast(record)
                if kept.identity == name:
                    return kept
            _put(connection, raw)
            _add(
                connection,
                (job, FORECAST, *_head(connection, job, FORECAST)),
                at=stamp(issued_at or received_at),
                entered_at=stamp(received_at),
                kind=role,
                body=dump({"identity": name, "source": source, "says": issued_at is not None}),
            )
        return KeptForecast(name, role, source, issued_at, received_at)

    def forecasts_until(
        self, job: str, moment: datetime, *, role: str = "weather"
    ) -> tuple[KeptForecast, ...]:
        """Return what was issued and had come by a moment, by time of issue, oldest first."""
        limit = stamp(moment)
        kept: dict[str, KeptForecast] = {}
        for record in self._stream(job, FORECAST, kind=role, until=moment):
            forecast = _forecast(record)
            if record.at <= limit and forecast.identity not in kept:
                kept[forecast.identity] = forecast
        return tuple(sorted(kept.values(), key=lambda k: k.issued_at or k.received_at))

    def forecast_bytes(self, identity: str) -> bytes:
        """Return the bytes of a kept forecast."""
        with self._in.reading() as connection:
            return self._bytes(connection, identity)

    def keep_decision(
        self,
        job: str,
        kind: str,
        answer: bytes,
        inputs: Inputs,
        *,
        at: datetime,
        entered_at: datetime,
    ) -> Decision:
        """Keep an answer with what it was made from."""
        with self._in.writing() as connection:
            log_head = _hash_at(connection, job, inputs.log_position, self.name)
            body = {
                "answer": _put(connection, answer),
                "job_text": _put(connection, inputs.job_text),
                "log_position": inputs.log_position,
                "log_head": log_head,
                "forecasts": [list(pair) for pair in inputs.forecasts],
                "book": inputs.book,
                "seed": inputs.seed,
                "versions": dict(inputs.versions),
                "options": dict(inputs.options),
            }
            seq, own = _add(
                connection,
                (job, DECISION, *_head(connection, job, DECISION)),
                at=stamp(at),
                entered_at=stamp(entered_at),
                kind=kind,
                body=dump(body),
            )
        return Decision(seq, kind, at, entered_at, answer, inputs, log_head, own)

    def decisions(
        self,
        job: str,
        *,
        kind: str | None = None,
        until: datetime | None = None,
        last: int | None = None,
    ) -> tuple[Decision, ...]:
        """Return the answers kept, or the ``last`` so many of them, oldest first."""
        with self._in.reading() as connection:
            limit = None if until is None else stamp(until)
            records = list(_records(connection, job, DECISION, kind, limit, last))
            return tuple(self._decision(connection, record) for record in records)

    def last_decision(self, job: str, kind: str) -> tuple[int, datetime, int] | None:
        """Return number, moment and log position of the newest answer of a kind, unread."""
        with self._in.reading() as connection:
            for record in _records(connection, job, DECISION, kind, None, 1):
                position = int(json.loads(record.body)["log_position"])
                return record.seq, moment_of(record.at), position
        return None

    def log_length(self, job: str) -> int:
        """Return the number of the last log entry; 0: there is none."""
        with self._in.reading() as connection:
            return _head(connection, job, LOG)[0]

    def keep_photo(
        self, job: str, raw: bytes, *, media_type: str, who: str, now: datetime
    ) -> Photo:
        """Keep a picture as it came; the same bytes again are kept once."""
        with self._in.writing() as connection:
            name = _put(connection, raw)
            for record in _records(connection, job, PHOTO, None, None):
                kept = _photo(record)
                if kept.identity == name:
                    return kept
            photo = Photo(name, media_type, len(raw), who, now)
            body = {"identity": name, "size": len(raw), "who": who}
            _note(connection, job, PHOTO, stamp(now), media_type, dump(body))
        return photo

    def photos(self, job: str) -> tuple[Photo, ...]:
        """Return the pictures of a job, the oldest first."""
        return tuple(_photo(record) for record in self._stream(job, PHOTO))

    def photo_bytes(self, identity: str) -> bytes:
        """Return the bytes of a kept picture."""
        return self.forecast_bytes(identity)

    def decision(self, job: str, seq: int) -> Decision:
        """Return one answer as it was given, byte for byte."""
        with self._in.reading() as connection:
            for record in _records(connection, job, DECISION, None, None):
                if record.seq == seq:
                    return self._decision(connection, record)
        raise StoreFault(f"store {self.name} keeps no answer {seq} for {job}")

    def damaged(self, *, after: str, count: int) -> tuple[tuple[str, ...], str]:
        """Look through some kept bytes after an identity; what is wrong, and the last identity."""
        some = select(BLOBS).where(BLOBS.c.identity > after).order_by(BLOBS.c.identity)
        with self._in.reading() as connection:
            rows = connection.execute(some.limit(count)).all()
            found = tuple(self._changed_bytes(rows))
        return found, rows[-1].identity if len(rows) == count else ""

    def verify(self) -> tuple[str, ...]:
        """Return a line for each thing that was changed behind the store's back; none is good."""
        with self._in.reading() as connection:
            streams = connection.execute(
                select(RECORDS.c.job, RECORDS.c.stream).distinct().order_by("job", "stream")
            ).all()
            checks = [breaks(_records(connection, *one, None, None)) for one in streams]
            checks += [
                self._lost_answers(connection),
                self._lost_letters(connection),
                self._lost_photos(connection),
                changed_people(connection),
                self._changed_bytes(connection.execute(select(BLOBS))),
            ]
            found = [line for check in checks for line in self._read_on(check)]
        return tuple(found)

    def _read_on(self, check: Iterator[str]) -> Iterator[str]:
        """Yield what a check finds; a record that is no record any more is one thing found."""
        try:
            yield from check
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            yield f"store {self.name} cannot be read on: {error!r}"

    def _stream(
        self, job: str, stream: str, *, kind: str | None = None, until: datetime | None = None
    ) -> list[Record]:
        with self._in.reading() as connection:
            limit = None if until is None else stamp(until)
            return list(_records(connection, job, stream, kind, limit))

    def _bytes(self, connection: Connection, name: str) -> bytes:
        packed = connection.execute(
            select(BLOBS.c.packed).where(BLOBS.c.identity == name)
        ).scalar_one_or_none()
        if packed is None:
            raise StoreFault(f"store {self.name} keeps nothing of the identity {name}")
        return _unpacked(packed, name, self.name)

    def _decision(self, connection: Connection, record: Record) -> Decision:
        body = json.loads(record.body)
        inputs = Inputs(
            job_text=self._bytes(connection, body["job_text"]),
            log_position=body["log_position"],
            forecasts=tuple((role, name) for role, name in body["forecasts"]),
            book=body["book"],
            seed=body["seed"],
            versions=body["versions"],
            options=body["options"],
        )
        return Decision(
            seq=record.seq,
            kind=record.kind,
            at=moment_of(record.at),
            entered_at=moment_of(record.entered_at),
            answer=self._bytes(connection, body["answer"]),
            inputs=inputs,
            log_head=body["log_head"],
            hash=record.hash,
        )

    def _lost_answers(self, connection: Connection) -> Iterator[str]:
        """Yield a line for each answer whose log, or whose bytes, are no longer there."""
        names = set(connection.execute(select(BLOBS.c.identity)).scalars())
        heads = {
            (job, seq): own
            for job, seq, own in connection.execute(
                select(RECORDS.c.job, RECORDS.c.seq, RECORDS.c.hash).where(RECORDS.c.stream == LOG)
            )
        }
        for record in _records(connection, None, DECISION, None, None):
            body, line = json.loads(record.body), f"decision {record.seq} of {record.job}"
            at = body["log_position"]
            if at and heads.get((record.job, at)) != body["log_head"]:
                yield f"{line}: the log it was made from, up to entry {at}, is not there any more"
            wanted = {body["answer"], body["job_text"], *(name for _, name in body["forecasts"])}
            for name in sorted(wanted - names):
                yield f"{line}: the bytes {name} were taken out"

    def _lost_letters(self, connection: Connection) -> Iterator[str]:
        """Yield a line for each message whose bytes, or whose end, are not as recorded."""
        names = set(connection.execute(select(BLOBS.c.identity)).scalars())
        ends: dict[str, str] = {}
        for record in _records(connection, None, MAIL, None, None):
            body = json.loads(record.body)
            if body["content"] not in names:
                yield f"mail {record.seq} of {record.job}: its bytes were taken out"
            if record.kind in {step.value for step in ENDS}:
                ends[body["message_id"]] = record.kind
        rows = connection.execute(select(OUTBOX.c.number, OUTBOX.c.message_id, OUTBOX.c.step))
        for number, own, step in rows:
            if own in ends and ends[own] != step:
                yield f"message {number}: is called {step}, its record says {ends[own]}"

    def _lost_photos(self, connection: Connection) -> Iterator[str]:
        names = set(connection.execute(select(BLOBS.c.identity)).scalars())
        for record in _records(connection, None, PHOTO, None, None):
            if _photo(record).identity not in names:
                yield f"photo {record.seq} of {record.job}: its bytes were taken out"

    def _changed_bytes(self, rows: Iterable[Any]) -> Iterator[str]:
        for name, size, packed in rows:  # SQLAlchemy types no row of a whole table
            try:
                raw = _unpacked(packed, name, self.name)
            except StoreFault as fault:
                yield str(fault)
                continue
            if len(raw) != size or identity(raw) != name:
                yield f"the bytes {name} were changed after they were kept"


def _records(
    connection: Connection,
    job: str | None,
    stream: str,
    kind: str | None,
    until: str | None,
    last: int | None = None,
) -> Iterator[Record]:
    """Yield records oldest first; ``last`` so many of one job only."""
    rows = select(RECORDS).where(RECORDS.c.stream == stream)
    rows = rows.where(RECORDS.c.job == job) if job is not None else rows
    rows = rows.where(RECORDS.c.kind == kind) if kind is not None else rows
    rows = rows.where(RECORDS.c.entered_at <= until) if until is not None else rows
    if last is not None:
        newest = connection.execute(rows.order_by(RECORDS.c.seq.desc()).limit(last)).all()
        yield from (Record(*row) for row in reversed(newest))
        return
    for row in connection.execute(rows.order_by(RECORDS.c.job, RECORDS.c.seq)):
        yield Record(*row)


def _head(connection: Connection, job: str, stream: str) -> tuple[int, str]:
    """Return number and hash of a stream's last record."""
    row = connection.execute(
        select(RECORDS.c.seq, RECORDS.c.hash)
        .where(RECORDS.c.job == job, RECORDS.c.stream == stream)
        .order_by(RECORDS.c.seq.desc())
        .limit(1)
    ).one_or_none()
    return (0, FIRST) if row is None else (row.seq, row.hash)


def _hash_at(connection: Connection, job: str, position: int, store: str) -> str:
    if position == 0:
        return FIRST
    own = connection.execute(
        select(RECORDS.c.hash).where(
            RECORDS.c.job == job, RECORDS.c.stream == LOG, RECORDS.c.seq == position
        )
    ).scalar_one_or_none()
    if own is None:
        raise StoreFault(f"store {store}: the log of {job} has no entry {position}")
    return str(own)


def _add(
    connection: Connection,
    after: tuple[str, str, int, str],
    *,
    at: str,
    entered_at: str,
    kind: str,
    body: str,
) -> tuple[int, str]:
    """Write a record after the last of its stream; return its number and hash."""
    job, stream, last, previous = after
    fields = {"job": job, "stream": stream, "at": at, "entered_at": entered_at, "kind": kind}
    own = record_hash(**fields, seq=last + 1, body=body, previous=previous)
    row = {**fields, "seq": last + 1, "body": body, "previous": previous, "hash": own}
    connection.execute(insert(RECORDS).values(row))
    return last + 1, own


def _note(connection: Connection, job: str, stream: str, at: str, kind: str, body: str) -> None:
    """Write a record of the service itself."""
    head = _head(connection, job, stream)
    _add(connection, (job, stream, *head), at=at, entered_at=at, kind=kind, body=body)


def _put(connection: Connection, raw: bytes) -> str:
    """Keep bytes and return their identity; bytes that are there already are not written again."""
    name = identity(raw)
    there = connection.execute(select(BLOBS.c.identity).where(BLOBS.c.identity == name)).first()
    if there is None:
        row = {"identity": name, "size": len(raw), "packed": zlib.compress(raw, 6)}
        connection.execute(insert(BLOBS).values(row))
    return name


def _unpacked(packed: bytes, name: str, store: str) -> bytes:
    try:
        return zlib.decompress(packed)
    except zlib.error as error:
        raise StoreFault(f"store {store}: the bytes {name} are damaged") from error


def _forecast(record: Record) -> KeptForecast:
    body = json.loads(record.body)
    return KeptForecast(
        identity=body["identity"],
        role=record.kind,
        source=body["source"],
        issued_at=moment_of(record.at) if body["says"] else None,
        received_at=moment_of(record.entered_at),
    )


def _photo(record: Record) -> Photo:
    body = json.loads(record.body)
    return Photo(
        identity=body["identity"],
        media_type=record.kind,
        size=body["size"],
        who=body["who"],
        at=moment_of(record.at),
    )
