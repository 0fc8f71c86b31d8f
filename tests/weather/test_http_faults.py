"""A peer that breaks off, lies or drips costs one source its answer, never the run."""

from __future__ import annotations

import gzip
import json
import sqlite3
import time
from pathlib import Path

import pytest
import responses

from rules.errors import WeatherUnavailable
from scheduler.planning.model.job import SourceChoice
from scheduler.weather import http
from scheduler.weather.grids.ranges import RangeFetcher
from scheduler.weather.http import Fetcher
from scheduler.weather.nws import NwsGridpoints
from scheduler.weather.nws_service import PUBLIC, Service, explained
from scheduler.weather.sources import Network, fetch_all
from tests.faults.peers import Manner, answer, drips, in_turn, peer, says
from tests.service.made_job import made_forecast, utc
from tests.weather.test_nws_fetch import (
    ALERTS,
    CELL,
    HERE,
    POINTS,
    RUN_OUT,
    cell_body,
    points_body,
    source,
)

NOW = utc(2026, 11, 9, 10, 30)
LONG_S = 20.0  # far less than any of these peers would go on, far more than a busy machine needs
BROKEN: dict[str, bytes] = {
    "fewer bytes than promised": answer(b'{"properties": {', length=5000),
    "no byte of the body": answer(b"", length=5000),
    "a chunk that breaks off": b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\nffff\r\n{",
    "a chunk without a length": b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n{",
    "packed bytes that are none": answer(b"\x1f\x8bnonsense", "Content-Encoding: gzip"),
    "packed bytes that break off": answer(
        gzip.compress(b'{"properties": {}}' * 99)[:40], "Content-Encoding: gzip"
    ),
    "a head that breaks off": b"HTTP/1.1 200 OK\r\nContent-Le",
    "no word of HTTP": b"SSH-2.0-OpenSSH_9.2p1\r\n",
    "nothing at all": b"",
    "a redirect to nowhere": answer(b"", "Location: http://[::1/", status="301 Moved"),
    "a redirect to another kind": answer(b"", "Location: gopher://x/", status="301 Moved"),
    "a line of the head without end": b"HTTP/1.1 200 OK\r\nX: " + b"a" * 200_000,
    "more heads than anyone reads": b"HTTP/1.1 200 OK\r\n" + b"X: y\r\n" * 2000 + b"\r\n",
}


def asked(url: str, *, budget_s: float, cache: Path | None = None) -> NwsGridpoints:
    return NwsGridpoints(Service(url=url, budget_s=budget_s, cache=cache))


class Late:
    """A clock that stands until somebody sleeps, longer than was meant, and then goes on."""

    def __init__(self, nap_s: float) -> None:
        self.nap_s = nap_s
        self.woke: float | None = None

    def sleep(self, _: float) -> None:
        self.woke = time.monotonic()

    def clock(self) -> float:
        return 0.0 if self.woke is None else self.nap_s + time.monotonic() - self.woke


@pytest.mark.parametrize("cached", [False, True])
@pytest.mark.parametrize("raw", BROKEN.values(), ids=list(BROKEN))
def test_an_answer_that_breaks_off_is_a_plain_line(
    raw: bytes, cached: bool, tmp_path: Path
) -> None:
    with peer(says(raw)) as bad, pytest.raises(WeatherUnavailable) as caught:
        asked(bad.url, budget_s=1.0, cache=tmp_path if cached else None).fetch(HERE)
    assert len(caught.value.lines()) == 1
    assert "object at 0x" not in str(caught.value)


def test_where_one_source_breaks_off_the_second_is_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(http, "FIRST_PAUSE_S", 1e3)  # longer than the budget: one try, no race
    (tmp_path / "other.json").write_bytes(made_forecast(NOW))
    choices = (SourceChoice("nws"), SourceChoice("other", file="other.json"))
    with peer(says(BROKEN["fewer bytes than promised"])) as bad:
        network = Network(nws_url=bad.url, contact="", budget_s=60.0, cache=None, now=lambda: NOW)
        fetched = fetch_all(choices, HERE, network, now=NOW, folder=tmp_path)
    assert [choice.name for choice, _ in fetched.answers] == ["other"]
    assert "broke off" in fetched.absent[0]


def test_an_answer_that_broke_off_once_is_asked_for_again() -> None:
    good = says(answer(json.dumps({"properties": {"forecastGridData": f"{PUBLIC}/g"}}).encode()))
    with peer(says(BROKEN["fewer bytes than promised"]), good) as flaky:
        service = Service(url=flaky.url, budget_s=30.0)
        assert service.points(HERE).status == 200
    assert len(flaky.asked) == 2


BREAKS_OFF = says(BROKEN["fewer bytes than promised"])


@pytest.mark.parametrize("nap_s", [4.2, 6.0])
def test_a_try_that_only_ran_out_of_time_does_not_hide_why_the_one_before_failed(
    nap_s: float,
) -> None:
    """The second one is cut, or not even made: neither says anything of the service."""
    with peer(BREAKS_OFF, drips(b"HTTP/1.1 ")) as bad:
        watch = Late(nap_s)
        fetcher = Fetcher(
            agent="closein", budget_s=5.0, explain=explained, sleep=watch.sleep, clock=watch.clock
        )
        fetcher.start()
        with pytest.raises(WeatherUnavailable, match="broke off"):
            fetcher.get(bad.url)
    assert len(bad.asked) == (2 if nap_s < 5.0 else 1)


@pytest.mark.parametrize("nap_s", [4.2, 6.0])
def test_nor_does_one_for_a_grid_file(nap_s: float) -> None:
    with peer(BREAKS_OFF, drips(b"HTTP/1.1 ")) as bad:
        watch = Late(nap_s)
        fetcher = RangeFetcher(agent="closein", budget_s=5.0, sleep=watch.sleep, clock=watch.clock)
        fetcher.start()
        with pytest.raises(WeatherUnavailable, match="broke off"):
            fetcher.text(f"{bad.url}/inventory")
    assert len(bad.asked) == (2 if nap_s < 5.0 else 1)


HEAD = b"HTTP/1.1 200 OK\r\n"
SLOW: dict[str, Manner] = {
    "the first line": drips(b"HTTP/1.1 "),
    "a head": in_turn(says(HEAD), drips(b"X-More: and more\r\n")),
    "a line of the head": in_turn(says(HEAD + b"X: "), drips(b"y")),
    "a chunk": in_turn(says(HEAD + b"Transfer-Encoding: chunked\r\n\r\n"), drips(b"1\r\n{\r\n")),
    "the length of a chunk": in_turn(
        says(HEAD + b"Transfer-Encoding: chunked\r\n\r\n"), drips(b"0")
    ),
    "a body": in_turn(says(HEAD + b"Content-Length: 99999\r\n\r\n"), drips(b" ")),
    "a hundred, over and over": drips(b"HTTP/1.1 100 Continue\r\n\r\n", every_s=0.01),
}


@pytest.mark.parametrize("manner", SLOW.values(), ids=list(SLOW))
def test_bytes_that_come_one_by_one_do_not_outlast_the_budget(manner: Manner) -> None:
    with peer(manner) as slow:
        began = time.monotonic()
        with pytest.raises(WeatherUnavailable, match=r"in time|no time left"):
            asked(slow.url, budget_s=1.0).fetch(HERE)
        assert time.monotonic() - began < LONG_S


@pytest.mark.parametrize("manner", SLOW.values(), ids=list(SLOW))
def test_nor_do_those_of_a_grid_file(manner: Manner) -> None:
    with peer(manner) as slow:
        fetcher, began = RangeFetcher(agent="closein", budget_s=1.0), time.monotonic()
        fetcher.start()
        with pytest.raises(WeatherUnavailable):
            fetcher.text(f"{slow.url}/inventory")
        assert time.monotonic() - began < LONG_S


def test_nor_does_a_handshake_of_tls() -> None:
    """RFC 8446, 5.1: a record begins with its kind, version and length; this one never ends."""
    manner = in_turn(says(b"\x16\x03\x03\x40\x00"), drips(b"\x00"))
    with peer(manner, listens=False) as slow:
        began = time.monotonic()
        with pytest.raises(WeatherUnavailable, match=r"in time|no time left"):
            asked(slow.url.replace("http:", "https:"), budget_s=1.0).fetch(HERE)
        assert time.monotonic() - began < LONG_S


LIES: dict[str, str] = {
    "nothing": "",
    "a page for people": "<html><body>We are busy</body></html>",
    "half of it": cell_body()[: len(cell_body()) // 2],
    "a list": "[]",
    "a number": "7",
    "null": "null",
    "nothing of a forecast": '{"properties": {}}',
    "layers without hours": json.dumps({"properties": {"temperature": {"values": []}}}),
    "another kind of answer": '{"type": "FeatureCollection", "features": []}',
    "a refusal": '{"type": "https://api.weather.gov/problems/Oops", "status": 500, "title": "x"}',
    "a nest without end": "[" * 9000,
}


@pytest.mark.parametrize("lie", LIES.values(), ids=list(LIES))
def test_a_bad_answer_of_status_200_leaves_the_good_one_that_is_kept(
    lie: str, tmp_path: Path
) -> None:
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        mock.get(ALERTS, json={"features": []}, headers={"Cache-Control": "max-age=0"})
        mock.get(POINTS, body=points_body(), headers={"Cache-Control": "max-age=86400"})
        first = mock.get(CELL, body=cell_body(), headers=RUN_OUT)
        source(cache=tmp_path).fetch(HERE)
        mock.remove(first)
        bad = mock.get(CELL, body=lie, headers={"Cache-Control": "max-age=3600", "ETag": '"b"'})
        for _ in range(2):  # the second time it would come from the cache
            nws = source(cache=tmp_path)
            forecast = nws.parse(nws.fetch(HERE))
            assert list(forecast.table.column("air_temperature_c")) == [-4, -4, -4]
            assert "did not answer" in forecast.provenance.findings[0].what
        mock.remove(bad)
        mock.get(CELL, body=cell_body().replace("-4", "-5"), headers=RUN_OUT)
        nws = source(cache=tmp_path)
        assert list(nws.parse(nws.fetch(HERE)).table.column("air_temperature_c")) == [-5, -5, -5]


@pytest.mark.parametrize("lie", LIES.values(), ids=list(LIES))
def test_where_none_is_kept_a_bad_answer_of_status_200_is_told_and_the_second_source_asked(
    lie: str, tmp_path: Path
) -> None:
    (tmp_path / "other.json").write_bytes(made_forecast(NOW))
    choices = (SourceChoice("nws"), SourceChoice("other", file="other.json"))
    with peer(says(answer(lie.encode()))) as bad:
        network = Network(
            nws_url=bad.url, contact="", budget_s=1.0, cache=tmp_path / "c", now=lambda: NOW
        )
        fetched = fetch_all(choices, HERE, network, now=NOW, folder=tmp_path)
    assert [choice.name for choice, _ in fetched.answers] == ["other"]
    assert len(fetched.absent) == 1


@pytest.mark.parametrize("told", ["database or disk is full", "disk I/O error"])
def test_a_cache_on_a_full_disk_costs_the_cache_alone(
    told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from requests_cache.backends.base import BaseCache

    def full(*_: object, **__: object) -> None:
        raise sqlite3.OperationalError(told)

    monkeypatch.setattr(BaseCache, "save_response", full)
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        mock.get(ALERTS, json={"features": []})
        mock.get(POINTS, body=points_body())
        mock.get(CELL, body=cell_body())
        nws = source(cache=tmp_path)
        forecast = nws.parse(nws.fetch(HERE))
    assert list(forecast.table.column("air_temperature_c")) == [-4, -4, -4]
    assert any("answers are not kept" in f.what for f in forecast.provenance.findings)
