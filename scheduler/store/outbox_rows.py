"""The outbox: one row a message, moved by conditional updates; its ends go into the chain."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from uuid import uuid4

from sqlalchemy import ColumnElement, Connection, Row, and_, insert, or_, select, update

from scheduler.interfaces.messages import ALARMS, ENDS, Message, NewMessage, Step
from scheduler.store.rows import dump, moment_of, stamp
from scheduler.store.tables import OUTBOX
from scheduler.store.transactions import Transactions

# Keep bytes, return their identity; write a record (job, stream, at, kind, body).
Put = Callable[[Connection, bytes], str]
Note = Callable[[Connection, str, str, str, str, str], None]
MAIL = "mail"  # the stream of records


class SqlOutbox:
    """See ``scheduler.interfaces.protocols.Outbox`` for what it promises."""

    def __init__(self, transactions: Transactions, put: Put, note: Note) -> None:
        self._in, self._put, self._note = transactions, put, note

    def queue(self, messages: Sequence[NewMessage], *, now: datetime, at: datetime) -> int:
        """Queue messages to be sent from ``at`` on; those that are there already stay as is."""
        queued = 0
        with self._in.writing() as connection:
            for one in messages:
                same = and_(
                    OUTBOX.c.job == one.job,
                    OUTBOX.c.recipient == one.recipient,
                    OUTBOX.c.kind == one.kind,
                    OUTBOX.c.day == one.day,
                )
                if connection.execute(select(OUTBOX.c.number).where(same)).first():
                    continue
                row = {
                    **{name: getattr(one, name) for name in ("job", "recipient", "kind", "day")},
                    "channel": one.channel,
                    "message_id": one.message_id,
                    "content": self._put(connection, one.content),
                    "step": Step.WAITING.value,
                    "tries": 0,
                    "next_try": stamp(at),
                    "claim": "",
                    "changed_at": stamp(now),
                    "told": "",
                    "seen_by": "",
                }
                connection.execute(insert(OUTBOX).values(row))
                self._record(connection, one.job, now, "queued", row)
                queued += 1
        return queued

    def claim(self, *, now: datetime, until: datetime) -> Message | None:
        """Take the next message that is due, or one whose process died before it began to send."""
        at, claim = stamp(now), uuid4().hex
        due = and_(
            OUTBOX.c.step.in_([Step.WAITING.value, Step.CLAIMED.value]), OUTBOX.c.next_try <= at
        )
        with self._in.writing() as connection:
            wanted = select(OUTBOX).where(due).order_by(OUTBOX.c.next_try, OUTBOX.c.number)
            row = connection.execute(wanted.limit(1)).one_or_none()
            if row is None:
                return None
            mine = and_(OUTBOX.c.number == row.number, OUTBOX.c.claim == row.claim, due)
            taken = connection.execute(
                update(OUTBOX)
                .where(mine)
                .values(
                    step=Step.CLAIMED.value,
                    claim=claim,
                    tries=row.tries + 1,
                    next_try=stamp(until),
                    changed_at=at,
                )
            )
            if taken.rowcount != 1:
                return None
            return _message(
                connection.execute(select(OUTBOX).where(OUTBOX.c.number == row.number)).one()
            )

    def begin(self, message: Message, *, now: datetime, until: datetime) -> bool:
        """Write down that the message may leave from now on; False where another has it."""
        values = {"step": Step.SENDING.value, "next_try": stamp(until)}
        with self._in.writing() as connection:
            return self._move(connection, message, Step.CLAIMED, now, values)

    def settle(
        self, message: Message, step: Step, *, now: datetime, told: str, next_try: datetime
    ) -> bool:
        """Write down how a try ended; False where another process has the message."""
        values = {"step": step.value, "told": told, "next_try": stamp(next_try)}
        own = or_(OUTBOX.c.step == Step.CLAIMED.value, OUTBOX.c.step == Step.SENDING.value)
        with self._in.writing() as connection:
            moved = connection.execute(
                update(OUTBOX)
                .where(OUTBOX.c.number == message.number, OUTBOX.c.claim == message.claim, own)
                .values(**values, changed_at=stamp(now))
            )
            if moved.rowcount == 1 and step in ENDS:
                self._end(connection, message.number, now)
            return moved.rowcount == 1

    def doubt(self, *, now: datetime) -> tuple[Message, ...]:
        """Give up what was being sent by a process that is gone; nobody knows if it arrived."""
        stuck = and_(OUTBOX.c.step == Step.SENDING.value, OUTBOX.c.next_try <= stamp(now))
        told = "the service stopped while it was being sent; it may or may not have arrived"
        with self._in.reading() as connection:
            if connection.execute(select(OUTBOX.c.number).where(stuck)).first() is None:
                return ()
        return self._ended(stuck, Step.IN_DOUBT, now, told)

    def doubt_all(self, *, now: datetime, told: str) -> tuple[Message, ...]:
        """Give up everything on its way: of a store put back nobody knows what has left."""
        moving = OUTBOX.c.step.not_in([step.value for step in ENDS])
        return self._ended(moving, Step.IN_DOUBT, now, told)

    def void(self, job: str, *, after: datetime, now: datetime, told: str) -> tuple[Message, ...]:
        """End what a clock that ran ahead has moved: given up, in doubt where it may have left."""
        late = and_(OUTBOX.c.job == job, OUTBOX.c.changed_at > stamp(after))
        held = OUTBOX.c.step.in_([Step.WAITING.value, Step.CLAIMED.value])
        sending = OUTBOX.c.step == Step.SENDING.value
        return self._ended(and_(late, held), Step.GIVEN_UP, now, told) + self._ended(
            and_(late, sending), Step.IN_DOUBT, now, told
        )

    def _ended(
        self, which: ColumnElement[bool], step: Step, now: datetime, told: str
    ) -> tuple[Message, ...]:
        with self._in.writing() as connection:
            numbers = connection.execute(select(OUTBOX.c.number).where(which)).scalars().all()
            for number in numbers:
                connection.execute(
                    update(OUTBOX)
                    .where(OUTBOX.c.number == number)
                    .values(step=step.value, told=told, changed_at=stamp(now))
                )
                self._end(connection, number, now)
            rows = connection.execute(select(OUTBOX).where(OUTBOX.c.number.in_(numbers))).all()
        return tuple(_message(row) for row in rows)

    def messages(self, job: str | None = None) -> tuple[Message, ...]:
        """Return the messages of a job, or of all, in the order they were queued."""
        wanted = select(OUTBOX) if job is None else select(OUTBOX).where(OUTBOX.c.job == job)
        with self._in.reading() as connection:
            rows = connection.execute(wanted.order_by(OUTBOX.c.number)).all()
        return tuple(_message(row) for row in rows)

    def waiting(self) -> tuple[Message, ...]:
        """Return what has not left yet, in the order it was queued."""
        steps = [Step.WAITING.value, Step.CLAIMED.value]
        wanted = select(OUTBOX).where(OUTBOX.c.step.in_(steps)).order_by(OUTBOX.c.number)
        with self._in.reading() as connection:
            rows = connection.execute(wanted).all()
        return tuple(_message(row) for row in rows)

    def alarms(self, job: str | None = None) -> tuple[Message, ...]:
        """Return what did not arrive, or may not have, and nobody has taken note of yet."""
        wanted = select(OUTBOX).where(OUTBOX.c.step.in_(sorted(ALARMS)), OUTBOX.c.seen_by == "")
        wanted = wanted if job is None else wanted.where(OUTBOX.c.job == job)
        with self._in.reading() as connection:
            rows = connection.execute(wanted.order_by(OUTBOX.c.number)).all()
        return tuple(_message(row) for row in rows)

    def seen(self, number: int, *, who: str, now: datetime) -> None:
        """Write down who has taken note of an alarm."""
        with self._in.writing() as connection:
            connection.execute(update(OUTBOX).where(OUTBOX.c.number == number).values(seen_by=who))
            row = connection.execute(select(OUTBOX).where(OUTBOX.c.number == number)).one()
            self._record(connection, row.job, now, "seen", dict(row._mapping))

    def _move(
        self,
        connection: Connection,
        message: Message,
        was: Step,
        now: datetime,
        values: dict[str, str],
    ) -> bool:
        mine = and_(
            OUTBOX.c.number == message.number,
            OUTBOX.c.claim == message.claim,
            OUTBOX.c.step == was.value,
        )
        moved = connection.execute(
            update(OUTBOX).where(mine).values(**values, changed_at=stamp(now))
        )
        return moved.rowcount == 1

    def _end(self, connection: Connection, number: int, now: datetime) -> None:
        row = connection.execute(select(OUTBOX).where(OUTBOX.c.number == number)).one()
        self._record(connection, row.job, now, row.step, dict(row._mapping))

    def _record(
        self, connection: Connection, job: str, now: datetime, kind: str, row: dict[str, object]
    ) -> None:
        kept = ("recipient", "kind", "day", "channel", "message_id", "content", "told", "seen_by")
        body = dump({name: row[name] for name in kept})
        self._note(connection, job, MAIL, stamp(now), kind, body)


def _message(row: Row[tuple[object, ...]]) -> Message:
    return Message(
        number=row.number,
        job=row.job,
        recipient=row.recipient,
        kind=row.kind,
        day=row.day,
        channel=row.channel,
        message_id=row.message_id,
        content=row.content,
        step=Step(row.step),
        tries=row.tries,
        next_try=moment_of(row.next_try),
        claim=row.claim,
        changed_at=moment_of(row.changed_at),
        told=row.told,
        seen_by=row.seen_by,
    )
