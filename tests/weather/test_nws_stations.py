"""Stations near the site: asked by distance, corrected for height, null never zero."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import responses

from rules.errors import Faults, WeatherUnavailable
from scheduler.planning.forecast.past_hours import filled, until
from scheduler.planning.model.job import Site
from scheduler.planning.tables.hours import Forecast, HourlyTable, Provenance
from scheduler.weather.nws_service import PUBLIC, Service
from scheduler.weather.nws_stations import NwsStations, read_stations, stations_of
from scheduler.weather.observed import parse_observed

SITE = Site("yard", 44.4759, -73.2121, 160.0, "America/New_York")
NOW = datetime(2026, 11, 9, 12, 20, tzinfo=UTC)
POINTS = f"{PUBLIC}/points/44.4759,-73.2121"
LIST = f"{PUBLIC}/gridpoints/BTV/88,56/stations"


def station(name: str, latitude: float, longitude: float, height: object) -> dict[str, object]:
    return {
        "geometry": {"type": "Point", "coordinates": [longitude, latitude]},
        "properties": {
            "stationIdentifier": name,
            "name": f"{name} field",
            "elevation": {"unitCode": "wmoUnit:m", "value": height},
        },
    }


def report(time: str, **fields: object) -> dict[str, object]:
    return {"properties": {"timestamp": f"2026-11-09T{time}:00+00:00", **fields}}


def number(value: object, unit: str = "wmoUnit:degC", quality: str = "V") -> dict[str, object]:
    return {"unitCode": unit, "value": value, "qualityControl": quality}


def service() -> Service:
    return Service(contact="someone@example.org", budget_s=5.0)


@pytest.fixture
def mock() -> Iterator[responses.RequestsMock]:
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mocked:
        mocked.get(POINTS, json={"properties": {"observationStations": LIST}})
        mocked.get(
            LIST,
            json={
                "features": [
                    station("KFAR", 48.0, -73.2, 90),
                    station("KTWO", 44.7, -73.2, 60),
                    station("KONE", 44.47, -73.15, 110),
                ]
            },
        )
        yield mocked


def observations(mock: responses.RequestsMock, name: str, *rows: dict[str, object]) -> None:
    mock.get(f"{PUBLIC}/stations/{name}/observations", json={"features": list(rows)})


def fetched(mock: responses.RequestsMock) -> bytes:
    return NwsStations(service(), now=lambda: NOW).fetch(SITE)


def test_the_nearest_stations_are_asked_and_further_ones_fill_their_gaps(
    mock: responses.RequestsMock,
) -> None:
    observations(
        mock, "KONE", report("09:53", temperature=number(4.0)), report("11:53", temperature=None)
    )
    observations(mock, "KTWO", report("11:53", temperature=number(1.0)))
    raw = fetched(mock)
    asked = [call.request.url for call in mock.calls if "observations" in str(call.request.url)]
    assert len(asked) == 2, "the one 390 km away is not asked"
    assert "start=2026-11-05T12" in str(asked[0]), "four days back"
    past = read_stations(raw, "kept", SITE)
    air = dict(
        zip(past.table.start.astype(str), past.table.column("air_temperature_c"), strict=True)
    )
    assert air["2026-11-09T09"] == pytest.approx(4.0 - 6.5 * 0.050), "50 m above the station"
    assert np.isnan(air["2026-11-09T10"])
    assert air["2026-11-09T11"] == pytest.approx(1.0 - 6.5 * 0.100)
    told = [f.what for f in past.provenance.findings]
    assert "past hours from station KTWO" in told
    assert "station KONE: corrected by -0.3 K" in told
    assert "KONE KONE field, 5 km" in past.provenance.place


def test_no_amount_is_not_dry_and_an_amount_lies_in_the_hour_before(
    mock: responses.RequestsMock,
) -> None:
    millimetres = "wmoUnit:mm"
    observations(
        mock,
        "KONE",
        report("09:53", precipitationLastHour=number(2.5, millimetres)),
        report("10:15", precipitationLastHour=number(0.4, millimetres)),
        report("11:53", precipitationLastHour=number(None, millimetres)),
    )
    observations(mock, "KTWO")
    past = read_stations(fetched(mock), "kept", SITE)
    rain = past.table.column("precipitation_amount_mm")
    begin = past.table.start.astype(str).tolist().index("2026-11-09T09")
    assert rain[begin] == 2.5, "the special report repeats a part of the hour"
    assert np.isnan(rain[begin + 2])


@pytest.mark.parametrize("quality", ["X", "Q", "B"])
def test_what_the_services_own_control_rejects_is_not_used(
    mock: responses.RequestsMock, quality: str
) -> None:
    observations(
        mock,
        "KONE",
        report("09:53", temperature=number(4.0), windSpeed=number(99, "wmoUnit:km_h-1", quality)),
    )
    observations(mock, "KTWO")
    past = read_stations(fetched(mock), "kept", SITE)
    assert "wind_speed_ms" not in past.table


def test_units_of_all_years_and_the_strongest_gust_of_an_hour(
    mock: responses.RequestsMock,
) -> None:
    observations(
        mock,
        "KONE",
        report("09:10", windGust=number(36.0, "wmoUnit:km_h-1"), temperature=number(4.0)),
        report("09:53", windGust=number(12.0, "unit:m_s-1"), temperature=number(6.0)),
    )
    observations(mock, "KTWO")
    past = read_stations(fetched(mock), "kept", SITE)
    known = np.isfinite(past.table.column("wind_speed_of_gust_ms"))
    assert past.table.column("wind_speed_of_gust_ms")[known].tolist() == [12.0]
    assert past.table.column("air_temperature_c")[known] == pytest.approx([5.0 - 0.325])


def test_a_station_far_above_gives_rain_but_no_air(mock: responses.RequestsMock) -> None:
    high = Site("yard", SITE.latitude_deg, SITE.longitude_deg, 1160.0, "UTC")
    rain = number(1.0, "wmoUnit:mm")
    observations(
        mock, "KONE", report("09:53", temperature=number(4.0), precipitationLastHour=rain)
    )
    observations(mock, "KTWO")
    past = read_stations(fetched(mock), "kept", high)
    assert "air_temperature_c" not in past.table
    assert np.nansum(past.table.column("precipitation_amount_mm")) == 1.0


def test_a_station_that_does_not_answer_is_told(mock: responses.RequestsMock) -> None:
    mock.get(f"{PUBLIC}/stations/KONE/observations", status=404, json={"type": "x", "status": 404})
    observations(mock, "KTWO", report("11:53", temperature=number(1.0)))
    past = read_stations(fetched(mock), "kept", SITE)
    assert any("without station KONE" in f.what for f in past.provenance.findings)


def test_no_station_near_is_a_plain_line(mock: responses.RequestsMock) -> None:
    near = NwsStations(service(), within_km=2.0, now=lambda: NOW)
    with pytest.raises(WeatherUnavailable, match="no station within 2 km"):
        near.fetch(SITE)


@pytest.mark.parametrize(
    "data",
    [
        None,
        [],
        {"features": 3},
        {"features": [3, {}, {"properties": {}, "geometry": {}}]},
        {"features": [station("K;DROP", 1, 2, 3)]},
        {"features": [station("KX", "a", None, 3)]},  # type: ignore[arg-type]
    ],
)
def test_a_list_of_anything_else_names_no_station(data: object) -> None:
    assert stations_of(data, SITE) == []


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        '{"format": "closein-nws-stations/1"}',
        '{"format": "closein-nws-stations/1", "stations": [{"id": 3}], "notes": []}',
        '{"format": "closein-nws-stations/1", "stations": [], "notes": []}',
    ],
)
def test_a_damaged_fetch_is_a_line(text: str) -> None:
    with pytest.raises(Faults):
        read_stations(text.encode(), "kept", SITE)


def past(source: str, begin: str, values: list[float]) -> Forecast:
    start = np.datetime64(begin, "h") + np.arange(len(values))
    return Forecast(
        HourlyTable(start, {"air_temperature_c": np.array(values)}), Provenance(source, NOW, None)
    )


def test_the_sites_own_thermometer_stands_before_stations() -> None:
    own = past("thermometer", "2026-11-09T09", [3.0, np.nan])
    near = past("station", "2026-11-09T08", [1.0, 1.0, 1.0, 1.0])
    both = filled([own, near])
    assert both.table.column("air_temperature_c").tolist() == [1.0, 3.0, 1.0, 1.0]
    assert [f.hours for f in both.provenance.findings] == [3]


def test_an_hour_that_is_not_over_was_not_observed() -> None:
    told = until(past("station", "2026-11-09T10", [1.0, 2.0, 3.0, 4.0]), NOW)
    assert told.table.column("air_temperature_c").tolist() == [1.0, 2.0]


def test_a_loggers_export_is_the_sites_thermometer() -> None:
    text = "Time,Air (°F),Wall (°F)\n2026-11-09 05:00,41,50\n2026-11-09 06:00,32,49\n"
    told = parse_observed(text.encode(), "logger.csv", SITE)
    assert told.table.column("air_temperature_c") == pytest.approx([5.0, 0.0])
    assert str(told.table.start[0]) == "2026-11-09T10", "local time is read in the site's zone"


def test_a_logger_that_does_not_say_which_probe_is_the_air_is_asked() -> None:
    text = "Time,North (°F),South (°F)\n2026-11-09 05:00,41,50\n2026-11-09 06:00,32,49\n"
    with pytest.raises(Faults, match="which probe is the air outside"):
        parse_observed(text.encode(), "logger.csv", SITE)


def test_hours_of_the_house_are_read_as_before(tmp_path: Path) -> None:
    text = "# source: gauge\ntime,precipitation_amount [mm]\n2026-11-09T09:00Z,2.5\n"
    told = parse_observed(text.encode(), "gauge.csv", SITE)
    assert told.table.column("precipitation_amount_mm").tolist() == [2.5]
    assert json.dumps(told.provenance.source) == '"gauge"'
