"""What every store promises; over SQLite in memory and on disk, and PostgreSQL where named."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules.errors import LogMoved, StoreFault
from scheduler.interfaces.protocols import Store
from scheduler.interfaces.records import Inputs
from scheduler.planning.model.log import Entry, EntryKind, Fact, Reading
from scheduler.store import open_store
from tests.store.postgres import fresh_postgres

NOON = datetime(2026, 11, 10, 17, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture(params=["memory", "disk", "postgres"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    kinds = {"memory": lambda: ":memory:", "disk": lambda: str(tmp_path / "closein.db")}
    address = kinds.get(request.param, fresh_postgres)()
    opened = open_store(address)
    yield opened
    opened.close()


def note(text: str, at: datetime = NOON) -> Entry:
    return Entry(0, at, at, EntryKind.NOTE, text=text)


def test_entries_come_back_as_they_went_with_rising_numbers(store: Store) -> None:
    reading = Reading("unit_core_temperature", 35.5, "degF", "block pallet", at=NOON)
    entries = [
        Entry(0, NOON, NOON, EntryKind.READING, reading=reading, who="Ada"),
        Entry(0, NOON, NOON, EntryKind.FACT, fact=Fact("wall", "braced", True, at=NOON)),
        Entry(
            0,
            NOON,
            NOON,
            EntryKind.LOST,
            hours=3.0,
            cause="rain",
            payload={"from": NOON, "day": date(2026, 11, 10), "crew": ["masons"]},
        ),
    ]
    written = store.append("lift", entries, entered_at=NOON + HOUR)
    assert [entry.seq for entry in written] == [1, 2, 3]
    assert store.entries("lift") == written
    assert written[0].reading == reading
    assert written[2].payload == entries[2].payload
    assert {entry.entered_at for entry in written} == {NOON + HOUR}


def test_a_yes_stays_a_yes_and_a_one_a_number(store: Store) -> None:
    dry = Reading("surface_dry", True, "yes_no")
    one = Reading("water_depth", 1.0, "in")
    store.append(
        "lift",
        [Entry(0, NOON, NOON, EntryKind.READING, reading=r) for r in (dry, one)],
        entered_at=NOON,
    )
    back = [entry.reading.value for entry in store.entries("lift") if entry.reading]
    assert [(value, type(value)) for value in back] == [(True, bool), (1.0, float)]


def test_jobs_do_not_see_each_other(store: Store) -> None:
    store.append("north", [note("a")], entered_at=NOON)
    store.append("south", [note("b"), note("c")], entered_at=NOON)
    assert [e.text for e in store.entries("north")] == ["a"]
    assert [e.seq for e in store.entries("south")] == [1, 2]
    assert store.jobs() == ("north", "south")
    assert store.entries("west") == ()


def test_what_was_written_later_does_not_exist_yet(store: Store) -> None:
    store.append("lift", [note("early")], entered_at=NOON)
    store.append("lift", [note("told late")], entered_at=NOON + 2 * HOUR)
    assert [e.text for e in store.entries("lift", until=NOON + HOUR)] == ["early"]
    assert len(store.entries("lift", until=NOON + 2 * HOUR)) == 2


def test_a_log_that_moved_refuses_and_writes_nothing(store: Store) -> None:
    store.append("lift", [note("one")], entered_at=NOON, after=0)
    with pytest.raises(LogMoved, match="entry 1 came in between"):
        store.append("lift", [note("two")], entered_at=NOON, after=0)
    assert [e.text for e in store.entries("lift")] == ["one"]


def test_a_batch_is_written_whole_or_not_at_all(store: Store) -> None:
    broken = Entry(0, NOON, NOON, EntryKind.NOTE, payload={"x": object()})
    with pytest.raises(TypeError):
        store.append("lift", [note("good"), broken], entered_at=NOON)
    assert store.entries("lift") == ()


def keep(store: Store, raw: bytes, issued: datetime | None, received: datetime) -> str:
    return store.keep_forecast(
        "lift", raw, role="weather", source="nws", issued_at=issued, received_at=received
    ).identity


def test_forecasts_are_kept_as_they_came_and_once(store: Store) -> None:
    raw = bytes(range(256)) * 40
    first = keep(store, raw, NOON, NOON + HOUR)
    assert keep(store, raw, NOON, NOON + 2 * HOUR) == first
    assert store.forecast_bytes(first) == raw
    kept = store.forecasts_until("lift", NOON + 3 * HOUR)
    assert [(k.identity, k.issued_at, k.received_at) for k in kept] == [(first, NOON, NOON + HOUR)]


def test_forecasts_come_by_time_of_issue_and_none_from_the_future(store: Store) -> None:
    late = keep(store, b"late", NOON + 5 * HOUR, NOON + 5 * HOUR)
    early = keep(store, b"early", NOON, NOON + 6 * HOUR)
    unsaid = keep(store, b"unsaid", None, NOON + HOUR)
    assert [k.identity for k in store.forecasts_until("lift", NOON + 7 * HOUR)] == [
        early,
        unsaid,
        late,
    ]
    assert [k.identity for k in store.forecasts_until("lift", NOON + 2 * HOUR)] == [unsaid]
    assert store.forecasts_until("lift", NOON + 7 * HOUR, role="climate") == ()


def test_a_file_given_again_for_an_earlier_morning_exists_then(store: Store) -> None:
    name = keep(store, b"forecast", NOON, NOON + 9 * HOUR)
    keep(store, b"forecast", NOON, NOON + HOUR)
    assert [k.identity for k in store.forecasts_until("lift", NOON + HOUR)] == [name]
    assert len(store.forecasts_until("lift", NOON + 10 * HOUR)) == 1


def test_an_answer_comes_back_byte_for_byte_with_what_it_was_made_from(store: Store) -> None:
    store.append("lift", [note("one"), note("two")], entered_at=NOON)
    inputs = Inputs(
        job_text="closein: 1\nname: Würfel\n".encode(),
        log_position=2,
        forecasts=(("weather", keep(store, b"f", NOON, NOON)),),
        book="b" * 64,
        seed=7,
        versions={"numpy": "2.4.6"},
        options={"units": "us"},
    )
    answer = b'{"call":"go_with_protection","value":35.30000000000001}\n'
    kept = store.keep_decision("lift", "today", answer, inputs, at=NOON, entered_at=NOON + HOUR)
    assert store.decision("lift", kept.seq) == kept
    assert store.decision("lift", kept.seq).answer == answer
    assert store.decision("lift", kept.seq).inputs == inputs


def test_answers_are_listed_by_kind_and_time(store: Store) -> None:
    inputs = Inputs(job_text=b"j", log_position=0)
    for place, kind in enumerate(("today", "plan", "today")):
        at = NOON + place * HOUR
        store.keep_decision("lift", kind, kind.encode(), inputs, at=at, entered_at=at)
    assert [d.seq for d in store.decisions("lift", kind="today")] == [1, 3]
    assert [d.seq for d in store.decisions("lift", until=NOON + HOUR)] == [1, 2]
    assert [d.seq for d in store.decisions("lift", last=1)] == [3]
    assert store.decisions("lift", last=0) == ()


def test_what_is_not_there_is_said_so(store: Store) -> None:
    with pytest.raises(StoreFault, match="keeps no answer 4"):
        store.decision("lift", 4)
    with pytest.raises(StoreFault, match="keeps nothing of the identity"):
        store.forecast_bytes("0" * 64)
    with pytest.raises(StoreFault, match="has no entry 9"):
        store.keep_decision("lift", "today", b"", Inputs(b"", 9), at=NOON, entered_at=NOON)


moments = st.floats(9e8, 3.7e9).map(lambda second: datetime.fromtimestamp(second, UTC))
plain = st.one_of(
    st.text(max_size=30),
    st.booleans(),
    st.none(),
    st.integers(-(2**60), 2**60),
    st.floats(allow_nan=False, allow_infinity=False),
    moments,
)
readings = st.builds(
    Reading,
    quantity=st.text(max_size=20),
    value=st.booleans() | st.floats(allow_nan=False, allow_infinity=False),
    unit=st.text(max_size=8),
    at=st.none() | moments,
)
entries = st.builds(
    Entry,
    seq=st.just(0),
    at=moments,
    entered_at=moments,
    kind=st.sampled_from(EntryKind),
    task=st.text(max_size=20),
    hours=st.none() | st.floats(0, 100),
    text=st.text(max_size=50),
    reading=st.none() | readings,
    fact=st.none()
    | st.builds(Fact, element=st.text(max_size=9), condition=st.text(max_size=9), value=plain),
    payload=st.dictionaries(st.text(max_size=9), plain | st.lists(plain, max_size=3), max_size=4),
)


@given(written=st.lists(entries, max_size=5))
@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
def test_any_entry_comes_back_as_it_went(written: list[Entry]) -> None:
    store = open_store(":memory:")
    kept = store.append("lift", written, entered_at=NOON)
    back = store.entries("lift")
    assert back == kept
    assert [(e.at, e.kind, e.reading, e.fact, e.payload) for e in back] == [
        (e.at, e.kind, e.reading, e.fact, e.payload) for e in written
    ]
    assert store.verify() == ()
    store.close()
