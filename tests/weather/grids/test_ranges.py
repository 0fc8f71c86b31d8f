"""Byte ranges from a server on this machine: every check, every fault of real servers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from rules.errors import WeatherUnavailable
from scheduler.weather.grids.inventory import Entry, read_inventory, wanted
from scheduler.weather.grids.ranges import NoSuchFile, RangeFetcher, side_by_side
from tests.recorded_data import recorded
from tests.weather.grids import making
from tests.weather.grids.range_server import Store, serving

RUN = datetime(2026, 11, 20, 6, tzinfo=UTC)
GRID = making.latlon(3, 3, 45.0, -94.0, 1.0)
FIELDS = [
    ("TMP:2 m above ground:1 hour fcst", ((0, 0, 0), (103, 2)), 275.0),
    ("TMP:surface:1 hour fcst", ((0, 0, 0), (1, 0)), 280.0),
    ("TMP:500 mb:1 hour fcst", ((0, 0, 0), (100, 50000)), 250.0),
    ("GUST:surface:1 hour fcst", ((0, 2, 22), (1, 0)), 9.0),
]
MESSAGES = [making.field(RUN, GRID, [value] * 9, *what, lead=1) for _, what, value in FIELDS]


@pytest.fixture
def store() -> Iterator[Store]:
    with serving() as one:
        lines, offset = [], 0
        for number, ((label, *_), message) in enumerate(zip(FIELDS, MESSAGES, strict=True), 1):
            lines.append(f"{number}:{offset}:d=2026112006:{label}:")
            offset += len(message)
        one.files = {"/f.grib2": b"".join(MESSAGES), "/f.grib2.idx": "\n".join(lines).encode()}
        yield one


def fetcher(budget_s: float = 20.0) -> RangeFetcher:
    one = RangeFetcher(
        agent="closein (someone@example.org)", budget_s=budget_s, sleep=lambda s: None
    )
    one.start()
    return one


def fetched(store: Store, one: RangeFetcher | None = None) -> list[bytes]:
    one = one or fetcher()
    entries = wanted(read_inventory(one.text(f"{store.address}/f.grib2.idx"), "f.grib2.idx"))
    return list(one.fields(f"{store.address}/f.grib2", entries))


def ranges(store: Store) -> list[str]:
    return [told for _, told in store.asked if told]


def test_only_the_wanted_messages_come_and_neighbours_in_one_request(store: Store) -> None:
    assert fetched(store) == [MESSAGES[0], MESSAGES[1], MESSAGES[3]]
    two, three = len(MESSAGES[0]) + len(MESSAGES[1]), sum(map(len, MESSAGES[:3]))
    assert ranges(store) == [f"bytes=0-{two - 1}", f"bytes={three}-"]
    assert store.agents == {"closein (someone@example.org)"}


@pytest.mark.parametrize("fault", ["short read", "short body", "503", "429", "too much"])
def test_what_may_heal_is_fetched_again(store: Store, fault: str) -> None:
    store.faults = [fault]
    assert fetched(store) == [MESSAGES[0], MESSAGES[1], MESSAGES[3]]
    assert len(ranges(store)) == 3


@pytest.mark.parametrize(
    ("fault", "what"),
    [
        ("200", "the whole file"),
        ("shifted", "asked, bytes 4-"),
        ("shorter", "asked, bytes 0-"),
        ("no range told", "Content-Range is ''"),
        ("garbled", "another version of the file"),
        ("416", "shorter than its inventory"),
        ("301", "status 301"),
        ("404", "no such file"),
    ],
)
def test_what_does_not_heal_is_refused_in_one_line(store: Store, fault: str, what: str) -> None:
    store.faults = [fault]
    with pytest.raises(WeatherUnavailable, match=what) as refused:
        fetched(store)
    assert len(refused.value.lines()) == 1
    assert len(ranges(store)) == 1


@pytest.mark.parametrize("fault", ["short read", "short body", "503", "too much"])
def test_three_failures_are_enough(store: Store, fault: str) -> None:
    store.faults = [fault] * 9
    with pytest.raises(WeatherUnavailable):
        fetched(store)
    assert len(ranges(store)) == 3


def test_a_file_that_is_replaced_in_between_is_not_mixed(store: Store) -> None:
    store.etags = ['"one"', '"two"']
    with pytest.raises(WeatherUnavailable, match="replaced while it was read"):
        fetched(store)


def test_an_inventory_of_another_version_is_noticed(store: Store) -> None:
    store.files["/f.grib2"] = b"\r\r\n" + store.files["/f.grib2"]
    with pytest.raises(WeatherUnavailable, match="another version of the file"):
        fetched(store)


def test_an_inventory_that_is_longer_than_the_file_is_noticed(store: Store) -> None:
    store.files["/f.grib2"] = b"".join(MESSAGES[:3])
    with pytest.raises(WeatherUnavailable, match="status 416"):
        fetched(store)


def test_a_file_cut_off_in_its_last_message_is_noticed(store: Store) -> None:
    store.files["/f.grib2"] = store.files["/f.grib2"][:-30]
    with pytest.raises(WeatherUnavailable, match="bytes came"):
        fetched(store)


def test_the_open_end_takes_one_message_and_no_more(store: Store) -> None:
    store.files["/f.grib2"] += bytes(3_000_000)
    assert fetched(store)[-1] == MESSAGES[3]


def test_a_missing_file_is_told_apart(store: Store) -> None:
    with pytest.raises(NoSuchFile):
        fetcher().text(f"{store.address}/absent.idx")


def test_no_request_is_made_when_the_time_is_over(store: Store) -> None:
    late = fetcher(budget_s=0.0)
    with pytest.raises(WeatherUnavailable, match="no time left"):
        late.text(f"{store.address}/f.grib2.idx")
    assert store.asked == []


def test_a_server_that_is_not_there_is_one_line() -> None:
    with pytest.raises(WeatherUnavailable, match="could not be reached") as refused:
        fetcher().text("http://127.0.0.1:9/f.idx")
    assert len(refused.value.lines()) == 1


def test_touching_ranges_join_and_others_do_not() -> None:
    one = Entry("1", 0, 10, "", None)
    touching, apart = replace(one, offset=10), replace(one, offset=21)
    open_end = replace(one, offset=31, length=None)
    groups = [[e.offset for e in g] for g in side_by_side([apart, one, open_end, touching])]
    assert groups == [[0, 10], [21], [31]]


def test_parts_of_one_message_are_fetched_once() -> None:
    one = Entry("1.1", 0, 10, "", None)
    assert [len(g) for g in side_by_side([one, replace(one, number="1.2")])] == [2]


def test_a_recorded_file_by_its_inventory(store: Store) -> None:
    name = "gfswave-atlocn-0p16-2023082318-f001.grib2"
    content = recorded("grib2", name).read_bytes()
    store.files["/f.grib2"] = content
    store.files["/f.grib2.idx"] = recorded("grib2", f"{name}.idx").read_bytes()
    assert b"".join(fetched(store)) == content[:100527]
    everything = read_inventory(recorded("grib2", f"{name}.idx").read_text(), name)
    assert b"".join(fetcher().fields(f"{store.address}/f.grib2", everything)) == content
