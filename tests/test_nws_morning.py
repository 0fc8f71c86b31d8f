"""A morning on answers of the national service: warnings shown, stations used, all of it kept."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np
import pytest
from rich.console import Console

from scheduler.output.answer_json import answer_document
from scheduler.output.brief_message import brief_html, brief_text
from scheduler.output.today_table import today_table
from scheduler.output.weather_table import alert_lines
from scheduler.planning.reports.briefing import ahead
from scheduler.planning.tables.hours import Alert
from scheduler.runs.brief import Morning, brief
from scheduler.runs.desk import Desk
from scheduler.startup import Options, open_desk
from tests.demo_job import demo_job
from tests.weather.gridpoints import answer, layer
from tests.weather.test_nws_fetch import served

AT = datetime(2026, 11, 9, 11, tzinfo=UTC)
HOURS = "2026-11-09T09:00:00+00:00/P3D"
WARNING = {
    "id": "w1",
    "status": "Actual",
    "messageType": "Alert",
    "event": "Winter Storm Warning",
    "headline": "Winter Storm Warning <until> Tuesday",
    "onset": "2026-11-09T18:00:00-05:00",
    "ends": "2026-11-10T18:00:00-05:00",
    "senderName": "NWS Burlington VT",
}
OVER = {**WARNING, "id": "w0", "event": "Dense Fog Advisory", "headline": "Fog"} | {
    "onset": "2026-11-08T00:00:00-05:00",
    "ends": "2026-11-08T06:00:00-05:00",
}
GRID = answer(
    temperature=layer("wmoUnit:degC", (HOURS, 6.0)),
    windGust=layer("wmoUnit:km_h-1", (HOURS, 10.0)),
)
GRID["properties"]["updateTime"] = "2026-11-09T09:00:00+00:00"  # type: ignore[index]
STATION = {
    "geometry": {"type": "Point", "coordinates": [-75.0, 44.3]},
    "properties": {
        "stationIdentifier": "KOGS",
        "name": "Ogdensburg",
        "elevation": {"unitCode": "wmoUnit:m", "value": 125.0},
    },
}
REPORT = {
    "timestamp": "2026-11-09T09:53:00+00:00",
    "temperature": {"unitCode": "wmoUnit:degC", "value": -3.0, "qualityControl": "V"},
}
CELL = "https://api.weather.gov/gridpoints/BTV/1,2"
POINT = {"forecastGridData": CELL, "observationStations": f"{CELL}/stations"}
ANSWERS = {
    "/points/44.31,-75.12": {"properties": POINT},
    "/gridpoints/BTV/1,2": GRID,
    "/gridpoints/BTV/1,2/stations": {"features": [STATION]},
    "/stations/KOGS/observations": {"features": [{"properties": REPORT}]},
    "/alerts/active": {"features": [{"properties": WARNING}, {"properties": OVER}]},
}


class Service(BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        told = ANSWERS.get(urlsplit(self.path).path)
        body = json.dumps(told or {"type": "x/NotFound", "status": 404}).encode()
        self.send_response(200 if told else 404)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *args: object) -> None:
        pass


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    with served(Service) as url:
        monkeypatch.setenv("CLOSEIN_NWS_URL", url)
        monkeypatch.setenv("CLOSEIN_CACHE", str(tmp_path / "cache"))
        yield replace(open_desk(Options(demo_job(tmp_path))), now=AT)


@pytest.fixture
def morning(desk: Desk) -> Morning:
    return brief(desk)


def printed(morning: Morning, desk: Desk) -> str:
    out = Console(width=200, file=io.StringIO(), record=True)
    seen = morning.today
    out.print(today_table(desk.job, seen.answers, seen.gathered.forecast, at=AT))
    return out.export_text()


def test_a_warning_is_shown_in_every_place_and_one_that_is_over_in_none(
    morning: Morning, desk: Desk
) -> None:
    text = brief_text(morning.brief, desk.job, ())
    shown = "WARNING: Winter Storm Warning <until> Tuesday, Mon 9 Nov 18:00–Tue 10 Nov 18:00"
    for where in (printed(morning, desk), text):
        assert shown in where
        assert "Fog" not in where
    html = brief_html(morning.brief, desk.job, ())
    assert "Winter Storm Warning &lt;until&gt; Tuesday" in html
    seen = morning.today
    told = answer_document(desk.job, seen.answers, seen.gathered.forecast, at=AT)
    assert any(a.event == "Winter Storm Warning" for a in told["weather"]["alerts"])  # type: ignore[index]


def test_no_warning_and_nobody_asked_are_no_good_news() -> None:
    assert alert_lines((), "UTC") == ["warnings: none in force when asked, which proves nothing"]
    assert alert_lines(None, "UTC") == ["warnings: not asked for; look for them yourself"]


def test_a_warning_without_an_end_is_not_over() -> None:
    told = Alert("Flood Warning", AT, None, "", "")
    assert ahead((told,), datetime(2027, 1, 1, tzinfo=UTC)) == (told,)


def test_stations_near_by_fill_the_hours_that_are_past(morning: Morning, desk: Desk) -> None:
    observed = morning.today.gathered.observed
    assert observed is not None
    air = observed.table.column("air_temperature_c")
    rise = desk.job.site.elevation_m - 125.0
    assert air[np.isfinite(air)] == pytest.approx([-3.0 - 6.5 * rise / 1000.0])


def test_forecast_and_stations_are_kept_as_they_came(morning: Morning, desk: Desk) -> None:
    roles = [(role, raw.source) for role, raw, _ in morning.today.gathered.kept]
    assert roles == [("weather", "nws"), ("observed", "nws-stations")]
    kept = desk.store.forecasts_until(desk.job.id, datetime(2100, 1, 1, tzinfo=UTC))
    assert json.loads(desk.store.forecast_bytes(kept[0].identity))["answers"]["gridpoint"]
