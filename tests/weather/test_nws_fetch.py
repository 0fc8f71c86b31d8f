"""Talk with the National Weather Service, against recorded and made answers; nothing leaves."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import numpy as np
import pytest
import responses

from rules.errors import WeatherUnavailable
from scheduler.planning.model.job import Site
from scheduler.weather.http import Fetcher
from scheduler.weather.nws import NwsGridpoints
from scheduler.weather.nws_service import PUBLIC, Service, coordinates, explained
from tests.recorded_data import recorded
from tests.weather.gridpoints import START, answer, layer

HERE = Site("yard", 44.4759, -73.2121, 60.0, "America/New_York")
POINTS = f"{PUBLIC}/points/44.4759,-73.2121"
CELL = f"{PUBLIC}/gridpoints/BTV/88,56"
ALERTS = f"{PUBLIC}/alerts/active?point=44.4759,-73.2121"
RUN_OUT = {"Cache-Control": "max-age=0", "ETag": '"a1"'}
PROBLEM = "https://api.weather.gov/problems/"


class Watch:
    """A clock that only sleeping moves."""

    def __init__(self) -> None:
        self.now, self.naps = 0.0, []

    def sleep(self, seconds: float) -> None:
        self.now += seconds
        self.naps.append(seconds)

    def clock(self) -> float:
        return self.now


def source(
    watch: Watch | None = None, cache: Path | None = None, budget_s: float = 45.0
) -> NwsGridpoints:
    watch = watch or Watch()
    fetcher = Fetcher(
        agent="closein (someone@example.org)",
        budget_s=budget_s,
        explain=explained,
        cache=cache,
        sleep=watch.sleep,
        clock=watch.clock,
    )
    return NwsGridpoints(Service(fetcher=fetcher))


def text(name: str) -> str:
    return recorded("nws", name).read_text(encoding="utf-8")


def points_body() -> str:
    return json.dumps({"properties": {"forecastGridData": CELL}})


def cell_body() -> str:
    return json.dumps(answer(temperature=layer("wmoUnit:degC", ("00:00:00+00:00/PT3H", -4))))


def good(mock: responses.RequestsMock) -> None:
    mock.get(POINTS, body=points_body())
    mock.get(CELL, body=cell_body())


@pytest.fixture
def mock() -> Iterator[responses.RequestsMock]:
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mocked:
        mocked.get(ALERTS, json={"features": []}, headers={"Cache-Control": "max-age=30"})
        yield mocked


def test_points_lead_to_the_cell_and_what_came_is_kept(mock: responses.RequestsMock) -> None:
    good(mock)
    raw = source().fetch(HERE)
    kept = json.loads(raw)
    assert kept["answers"]["gridpoint"]["body"] == cell_body()
    forecast = source().parse(raw)
    assert list(forecast.table.column("air_temperature_c")) == [-4, -4, -4]
    assert forecast.provenance.fetched_at is not None
    agent = mock.calls[0].request.headers["User-Agent"]
    assert "someone@example.org" in agent


@pytest.mark.parametrize(
    ("latitude", "longitude", "text"),
    [
        (47.65530, -122.53540000001, "47.6553,-122.5354"),
        (0.00001, 5.0, "0,5"),
        (-0.00001, -97.060, "0,-97.06"),
        (44.5, -73.0, "44.5,-73"),
        (10.0, 100.0, "10,100"),
    ],
)
def test_coordinates_have_four_places_and_no_trailing_zeros(
    latitude: float, longitude: float, text: str
) -> None:
    assert coordinates(Site("x", latitude, longitude, 0.0, "UTC")) == text


def test_a_relative_redirect_is_followed(mock: responses.RequestsMock) -> None:
    step = json.loads(text("nws-http-301-points-precision-2019-11-23.json"))[0]["response"]
    mock.get(POINTS, status=301, headers={"Location": step["headers"]["Location"]})
    mock.get(f"{PUBLIC}/points/47.6553,-122.5354", body=points_body())
    mock.get(CELL, body=cell_body())
    assert source().fetch(HERE)


def test_redirects_in_circles_end(mock: responses.RequestsMock) -> None:
    mock.get(POINTS, status=301, headers={"Location": POINTS})
    with pytest.raises(WeatherUnavailable, match="circles"):
        source().fetch(HERE)


@pytest.mark.parametrize("status", [500, 502, 503, 504, 429])
def test_what_may_heal_is_tried_again_with_growing_pauses(
    mock: responses.RequestsMock, status: int
) -> None:
    mock.get(POINTS, body=points_body())
    for _ in range(2):
        mock.get(
            CELL,
            status=status,
            body=json.dumps({"type": f"{PROBLEM}UnexpectedProblem", "status": status}),
        )
    mock.get(CELL, body=cell_body())
    watch = Watch()
    assert source(watch).fetch(HERE)
    assert len(watch.naps) == 2
    assert watch.naps[1] > watch.naps[0]


def test_five_refusals_end_in_a_plain_line_within_the_budget(mock: responses.RequestsMock) -> None:
    mock.get(
        POINTS, status=500, body=recorded("nws", "nws-problem-500-unexpected.json").read_text()
    )
    watch = Watch()
    with pytest.raises(WeatherUnavailable, match="answered 500") as caught:
        source(watch, budget_s=30.0).fetch(HERE)
    assert watch.now < 30.0
    assert 3 <= len(mock.calls) <= 6
    assert len(caught.value.lines()) == 1
    assert caught.value.exit_code == 3


def test_retry_after_is_obeyed(mock: responses.RequestsMock) -> None:
    mock.get(POINTS, status=503, headers={"Retry-After": "7"})
    good(mock)
    watch = Watch()
    source(watch).fetch(HERE)
    assert watch.naps[0] >= 7


@pytest.mark.parametrize(
    ("name", "status", "told"),
    [
        ("nws-problem-404-marine.json", 404, "over water; this stays so"),
        ("nws-problem-404-invalid-point.json", 404, "does not cover this point; this stays so"),
        ("nws-problem-503-grid-expired-2020-02-11.json", 503, "has not renewed its forecast grid"),
    ],
)
def test_what_will_not_heal_is_asked_once(
    mock: responses.RequestsMock, name: str, status: int, told: str
) -> None:
    mock.get(POINTS, body=points_body())
    mock.get(CELL, status=status, body=text(name))
    with pytest.raises(WeatherUnavailable, match=told):
        source().fetch(HERE)
    assert len(mock.calls) == 2


def test_a_page_of_html_is_a_matter_of_settings_and_asked_once(
    mock: responses.RequestsMock,
) -> None:
    step = json.loads(text("nws-http-403-html-2021-02-04.json"))[0]
    mock.get(POINTS, status=403, body=step["response"]["body"], content_type="text/html")
    with pytest.raises(WeatherUnavailable, match="CLOSEIN_CONTACT"):
        source().fetch(HERE)
    assert len(mock.calls) == 1


@pytest.mark.parametrize(
    "body", ["", "<html>busy</html>", "{}", "[]", '{"properties": 3}', "[" * 9000]
)
def test_points_without_a_cell_end_in_a_plain_line(
    mock: responses.RequestsMock, body: str
) -> None:
    mock.get(POINTS, body=body)
    with pytest.raises(WeatherUnavailable, match="cell is not known"):
        source().fetch(HERE)


def test_a_layer_nobody_can_read_costs_only_that_layer(mock: responses.RequestsMock) -> None:
    mock.get(POINTS, body=points_body())
    layers = answer(
        temperature=layer("wmoUnit:degC", ("00:00:00+00:00/PT2H", 1)),
        windGust=layer("wmoUnit:furlong", ("00:00:00+00:00/PT2H", 1)),
    )
    mock.get(CELL, json=layers)
    nws = source()
    forecast = nws.parse(nws.fetch(HERE))
    assert list(forecast.table.column("air_temperature_c")) == [1, 1]
    assert np.isnan(forecast.table.column("wind_speed_of_gust_ms")).all()
    assert any("furlong" in finding.what for finding in forecast.provenance.findings)


def test_the_last_good_grid_stands_in_with_its_age_told(
    mock: responses.RequestsMock, tmp_path: Path
) -> None:
    mock.get(POINTS, body=points_body(), headers={"Cache-Control": "max-age=86400"})
    first = mock.get(CELL, body=cell_body(), headers=RUN_OUT)
    nws = source(cache=tmp_path)
    nws.fetch(HERE)
    mock.remove(first)
    mock.get(
        CELL,
        status=503,
        body=recorded("nws", "nws-problem-503-grid-expired-2020-02-11.json").read_text(),
    )
    forecast = nws.parse(nws.fetch(HERE))
    assert "did not answer" in forecast.provenance.findings[0].what
    assert forecast.provenance.issued_at is not None
    assert forecast.provenance.issued_at.isoformat() == START


def test_an_answer_is_asked_for_again_only_when_it_has_run_out(
    mock: responses.RequestsMock, tmp_path: Path
) -> None:
    mock.get(POINTS, body=points_body(), headers={"Cache-Control": "public, max-age=86400"})
    mock.get(CELL, body=cell_body(), headers={"Cache-Control": "public, max-age=3600"})
    source(cache=tmp_path).fetch(HERE)
    source(cache=tmp_path).fetch(HERE)
    assert [call.request.url for call in mock.calls].count(CELL) == 1


def test_an_answer_that_ran_out_is_asked_for_by_its_mark(
    mock: responses.RequestsMock, tmp_path: Path
) -> None:
    mock.get(POINTS, body=points_body(), headers={"Cache-Control": "max-age=86400"})
    first = mock.get(CELL, body=cell_body(), headers=RUN_OUT)
    source(cache=tmp_path).fetch(HERE)
    mock.remove(first)
    mock.get(CELL, status=304, headers={"ETag": '"a1"'})
    forecast = source().parse(source(cache=tmp_path).fetch(HERE))
    asked = [call.request for call in mock.calls if call.request.url == CELL]
    assert asked[-1].headers["If-None-Match"] == '"a1"'
    assert list(forecast.table.column("air_temperature_c")) == [-4, -4, -4]


@pytest.mark.parametrize("broken", ["folder is a file", "file is garbage"])
def test_a_broken_cache_folder_is_told_and_does_not_stop_the_run(
    mock: responses.RequestsMock, tmp_path: Path, broken: str
) -> None:
    good(mock)
    folder = tmp_path / "cache"
    if broken == "folder is a file":
        folder.write_text("no folder")
    else:
        folder.mkdir()
        (folder / "answers.sqlite").write_bytes(b"garbage" * 999)
    nws = source(cache=folder)
    forecast = nws.parse(nws.fetch(HERE))
    assert any("not kept" in f.what for f in forecast.provenance.findings)


def test_the_other_answers_give_warnings_chances_and_contradictions(
    mock: responses.RequestsMock,
) -> None:
    site = Site("Albany", 42.745, -73.752, 80.0, "America/New_York")
    base = f"{PUBLIC}/gridpoints/ALY/71,67"
    mock.get(f"{PUBLIC}/points/42.745,-73.752", body=text("nws-points-aly-2026-07-15.json"))
    mock.get(base, body=text("nws-gridpoint-aly-2026-07-15.json"))
    hourly = json.loads(text("nws-hourly-aly-2026-07-15.json"))
    hourly["properties"]["periods"][3]["temperature"] -= 20
    mock.get(f"{base}/forecast/hourly", json=hourly)
    mock.get(f"{base}/forecast", body=text("nws-forecast12h-aly-2026-07-15.json"))
    alerts = f"{PUBLIC}/alerts/active?point=42.745,-73.752"
    mock.get(alerts, body=text("nws-alerts-zone-2019-12-20.json"))
    nws = source()
    forecast = nws.parse(nws.fetch(site))
    assert len(forecast.periods) == 14
    assert forecast.periods[0].precipitation_probability_pct == 3
    assert forecast.alerts is not None
    assert len(forecast.alerts) == 1
    (finding,) = forecast.provenance.findings
    assert finding.column == "air_temperature_c"
    assert "the hourly answer says" in finding.what
    assert finding.hours == 1


@pytest.mark.parametrize("body", ["", "[]", "{}", '{"features": 3}', "[" * 9000])
def test_warnings_that_cannot_be_read_are_told_and_not_taken_as_none(
    mock: responses.RequestsMock, body: str
) -> None:
    good(mock)
    mock.replace(responses.GET, ALERTS, body=body)
    nws = source()
    forecast = nws.parse(nws.fetch(HERE))
    assert any("alerts" in finding.what for finding in forecast.provenance.findings)
    assert list(forecast.table.column("air_temperature_c")) == [-4, -4, -4]
    assert forecast.alerts is None


class Slow(BaseHTTPRequestHandler):
    """Sends a byte now and then, for ever."""

    def do_GET(self) -> None:
        self.send_response(200)
        self.send_header("Content-Length", "100000")
        self.end_headers()
        try:
            for _ in range(200):
                self.wfile.write(b" ")
                self.wfile.flush()
                time.sleep(0.05)
        except OSError:
            pass

    def log_message(self, *args: object) -> None:
        pass


@contextmanager
def served(handler: type[BaseHTTPRequestHandler]) -> Iterator[str]:
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    server.daemon_threads = True
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}"
    finally:
        server.shutdown()
        server.server_close()


def test_a_server_that_drips_does_not_outlast_the_budget() -> None:
    with served(Slow) as url:
        began = time.monotonic()
        with pytest.raises(WeatherUnavailable, match=r"in time|no time left"):
            NwsGridpoints(Service(url=url, budget_s=1.0)).fetch(HERE)
        assert time.monotonic() - began < 3.0


def test_requests_keep_a_polite_distance_and_kept_answers_cost_none(tmp_path: Path) -> None:
    watch = Watch()
    with served(Recorded) as url:
        fetcher = Fetcher(
            agent="closein (someone@example.org)",
            budget_s=60.0,
            explain=explained,
            cache=tmp_path,
            sleep=watch.sleep,
            clock=watch.clock,
            gap_s=0.2,
        )
        fetcher.start()
        for path in ("one", "two", "one"):
            with pytest.raises(WeatherUnavailable):
                fetcher.get(f"{url}/{path}", once=True)
    assert watch.naps == [0.2]


def test_nobody_listening_is_a_plain_line() -> None:
    with served(Slow) as url:
        pass
    with pytest.raises(WeatherUnavailable, match="could not be reached") as caught:
        NwsGridpoints(Service(url=url, budget_s=2.0)).fetch(HERE)
    assert "object at 0x" not in str(caught.value)


class Recorded(BaseHTTPRequestHandler):
    """Answers as the service did, under its own paths, with its own addresses in the bodies."""

    def do_GET(self) -> None:
        name = {
            "/points/42.7402,-73.7644": "nws-points-aly-2026-07-15.json",
            "/gridpoints/ALY/71,67": "nws-gridpoint-aly-2026-07-15.json",
        }.get(self.path)
        body = recorded("nws", name).read_bytes() if name else b"{}"
        self.send_response(200 if name else 404)
        self.send_header("Content-Type", "application/geo+json")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *args: object) -> None:
        pass


def test_a_server_with_recorded_answers_gives_the_recorded_forecast() -> None:
    recorded("nws", "nws-gridpoint-aly-2026-07-15.json")
    with served(Recorded) as url:
        nws = NwsGridpoints(Service(url=url, budget_s=20.0))
        forecast = nws.parse(
            nws.fetch(Site("Albany", 42.7402, -73.7644, 80.0, "America/New_York"))
        )
    assert forecast.provenance.place == "ALY 71,67"
    assert forecast.table.hours == 186
