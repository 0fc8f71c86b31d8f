"""Runs and messages are claimed once, whoever asks; what has left never leaves again."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import create_engine
from sqlalchemy.exc import DBAPIError

from rules.errors import StoreFault
from scheduler.interfaces.messages import NewMessage, Step, Watched
from scheduler.interfaces.protocols import Store
from scheduler.planning.model.log import Entry, EntryKind
from scheduler.store import open_store
from tests.store.postgres import fresh_postgres

NOON = datetime(2026, 11, 10, 17, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "closein.db"


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    opened = open_store(str(path))
    yield opened
    opened.close()


@pytest.fixture(params=["disk", "postgres"])
def either(request: pytest.FixtureRequest, path: Path) -> Iterator[tuple[str, Store]]:
    address = str(path) if request.param == "disk" else fresh_postgres()
    opened = open_store(address)
    yield address, opened
    opened.close()


def message(recipient: str = "a@example.org", day: str = "2026-11-10") -> NewMessage:
    return NewMessage(
        "lift", recipient, "morning", day, "mail", f"<{recipient}.{day}>", recipient.encode()
    )


def claim(store: Store, now: datetime = NOON) -> str:
    return store.runs.claim("lift", "morning", "2026-11-10", now=now, until=now + 5 * MINUTE)


def test_a_run_is_begun_once_and_taken_over_where_its_process_is_gone(
    either: tuple[str, Store],
) -> None:
    _, store = either
    first = claim(store)
    assert first
    assert claim(store, NOON + MINUTE) == ""
    second = claim(store, NOON + 6 * MINUTE)
    assert second not in {"", first}
    finish = {"now": NOON + 7 * MINUTE, "told": "", "body": "{}"}
    assert not store.runs.finish("lift", "morning", "2026-11-10", first, **finish)
    assert store.runs.finish("lift", "morning", "2026-11-10", second, **finish)
    assert claim(store, NOON + 60 * MINUTE) == ""
    (row,) = store.runs.last("lift", "morning")
    assert (row.tries, row.body, row.done_at) == (2, "{}", NOON + 7 * MINUTE)


def test_of_many_processes_one_has_the_run_and_one_the_message(
    either: tuple[str, Store],
) -> None:
    address, store = either
    store.outbox.queue([message()], now=NOON, at=NOON)

    def both(_: int) -> tuple[bool, bool]:
        own = open_store(address)
        run = claim(own)
        taken = own.outbox.claim(now=NOON, until=NOON + MINUTE)
        own.close()
        return bool(run), taken is not None

    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(both, range(16)))
    assert [sum(column) for column in zip(*found, strict=True)] == [1, 1]


def test_a_message_is_queued_once_for_a_person_a_kind_and_a_day(
    either: tuple[str, Store],
) -> None:
    _, store = either
    assert store.outbox.queue([message(), message("b@example.org")], now=NOON, at=NOON) == 2
    assert store.outbox.queue([message()], now=NOON + MINUTE, at=NOON) == 0
    assert [m.recipient for m in store.outbox.messages("lift")] == [
        "a@example.org",
        "b@example.org",
    ]
    assert store.forecast_bytes(store.outbox.messages()[0].content) == b"a@example.org"


def test_what_was_claimed_but_never_begun_is_taken_again(
    either: tuple[str, Store],
) -> None:
    _, store = either
    store.outbox.queue([message()], now=NOON, at=NOON)
    first = store.outbox.claim(now=NOON, until=NOON + MINUTE)
    assert first is not None
    assert store.outbox.claim(now=NOON, until=NOON + MINUTE) is None
    later = NOON + 2 * MINUTE
    again = store.outbox.claim(now=later, until=later + MINUTE)
    assert again is not None
    assert (again.message_id, again.tries) == (first.message_id, 2)
    assert not store.outbox.begin(first, now=later, until=later + MINUTE)
    assert store.outbox.begin(again, now=later, until=later + MINUTE)


def test_what_may_have_left_is_in_doubt_and_never_sent_again(path: Path, store: Store) -> None:
    store.outbox.queue([message()], now=NOON, at=NOON)
    taken = store.outbox.claim(now=NOON, until=NOON + MINUTE)
    assert taken is not None
    assert store.outbox.begin(taken, now=NOON, until=NOON + MINUTE)
    assert store.outbox.doubt(now=NOON) == ()  # its process may still be at it
    later = NOON + 2 * MINUTE
    assert store.outbox.claim(now=later, until=later + MINUTE) is None
    assert [m.step for m in store.outbox.doubt(now=later)] == [Step.IN_DOUBT]
    assert not store.outbox.settle(taken, Step.SENT, now=later, told="250", next_try=later)
    assert store.outbox.claim(now=later, until=later) is None
    raw = sqlite3.connect(path, isolation_level=None)
    with pytest.raises(sqlite3.IntegrityError, match="what is done stays done"):
        raw.execute("UPDATE outbox SET step = 'waiting'")
    assert [m.told for m in store.outbox.alarms("lift")] == [
        "the service stopped while it was being sent; it may or may not have arrived"
    ]
    store.outbox.seen(taken.number, who="Ada", now=later)
    assert store.outbox.alarms() == ()
    assert store.verify() == ()


def test_joined_writes_are_all_there_or_none(
    either: tuple[str, Store],
) -> None:
    _, store = either
    note = Entry(0, NOON, NOON, EntryKind.NOTE, text="x")

    def half() -> None:
        with store.together():
            store.append("lift", [note], entered_at=NOON)
            store.outbox.queue([message()], now=NOON, at=NOON)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        half()
    assert (store.entries("lift"), store.outbox.messages()) == ((), ())
    with store.together():
        store.append("lift", [note], entered_at=NOON)
        store.outbox.queue([message()], now=NOON, at=NOON)
    assert (len(store.entries("lift")), len(store.outbox.messages())) == (1, 1)


def test_a_job_is_watched_from_when_it_was_first_given(
    either: tuple[str, Store],
) -> None:
    _, store = either
    store.runs.watch(Watched("lift", "a.yaml", "job", "", NOON))
    store.runs.watch(Watched("lift", "b.yaml", "nws", "", NOON + MINUTE))
    assert store.runs.watched() == (Watched("lift", "b.yaml", "nws", "", NOON),)
    store.runs.forget("lift")
    assert store.runs.watched() == ()


def test_how_a_message_ended_is_in_the_chain(path: Path, store: Store) -> None:
    store.outbox.queue([message()], now=NOON, at=NOON)
    taken = store.outbox.claim(now=NOON, until=NOON + MINUTE)
    assert taken is not None
    assert store.outbox.begin(taken, now=NOON, until=NOON + MINUTE)
    assert store.outbox.settle(taken, Step.SENT, now=NOON, told="250 ok", next_try=NOON)
    raw = sqlite3.connect(path)
    kinds = raw.execute("SELECT kind FROM records WHERE stream = 'mail' ORDER BY seq").fetchall()
    assert kinds == [("queued",), ("sent",)]
    raw.execute("DROP TRIGGER records_update")
    raw.execute("UPDATE records SET body = replace(body, '250', '251') WHERE kind = 'sent'")
    raw.commit()
    assert any("mail 2 of lift: was changed" in line for line in store.verify())


def test_what_is_done_stays_done_in_postgres_too() -> None:
    address = fresh_postgres()
    store = open_store(address)
    store.outbox.queue([message()], now=NOON, at=NOON)
    taken = store.outbox.claim(now=NOON, until=NOON + MINUTE)
    assert taken is not None
    store.outbox.settle(taken, Step.GIVEN_UP, now=NOON, told="550", next_try=NOON)
    for change in (
        "UPDATE outbox SET step = 'waiting'",
        "DELETE FROM outbox",
        "UPDATE records SET kind = 'sent'",
        "DELETE FROM blobs",
    ):
        with (
            pytest.raises(DBAPIError, match=r"stays done|append-only"),
            create_engine(address).begin() as connection,
        ):
            connection.exec_driver_sql(change)
    assert store.verify() == ()


def test_a_closed_file_is_a_fault_of_the_store(tmp_path: Path) -> None:
    with pytest.raises(StoreFault):
        open_store(str(tmp_path)).runs.watched()
