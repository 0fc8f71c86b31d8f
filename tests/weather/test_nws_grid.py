"""Layers of gridpoint answers, one quirk at a time."""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.planning.model.job import Site
from scheduler.weather.place import at_site
from tests.weather.gridpoints import answer, layer, read

C, MM, KMH, PCT = "wmoUnit:degC", "wmoUnit:mm", "wmoUnit:km_h-1", "wmoUnit:percent"
NAN = np.nan


def column(name: str, **layers: object) -> list[float]:
    forecast, faults = read(answer(**layers))
    assert faults == []
    return list(forecast.table.column(name))


def test_a_state_is_repeated_and_an_amount_is_shared_out() -> None:
    told = {
        "temperature": layer(C, ("00:00:00+00:00/PT6H", 5)),
        "quantitativePrecipitation": layer(MM, ("00:00:00+00:00/PT6H", 6.0)),
    }
    assert column("air_temperature_c", **told) == [5] * 6
    assert column("precipitation_amount_mm", **told) == [1.0] * 6


def test_past_the_last_amount_rain_is_not_known() -> None:
    told = {
        "quantitativePrecipitation": layer(MM, ("00:00:00+00:00/PT6H", 0)),
        "probabilityOfPrecipitation": layer(PCT, ("00:00:00+00:00/PT12H", 80)),
    }
    np.testing.assert_array_equal(column("precipitation_amount_mm", **told), [0.0] * 6 + [NAN] * 6)


@pytest.mark.parametrize(
    ("code", "value", "expected"),
    [
        ("unit:m_s-1", 12, 12.0),
        ("wmoUnit:km_h-1", 43.2, 12.0),
        ("wmoUnit:km_h-1", "43.2", 12.0),
        ("nwsUnit:kt", 10, 18.52 / 3.6),
        ("m_s-1", 12, 12.0),
    ],
)
def test_gusts_are_read_by_the_unit_they_state(code: str, value: object, expected: float) -> None:
    gust = layer(code, ("00:00:00+00:00/PT1H", value))
    assert column("wind_speed_of_gust_ms", windGust=gust) == [pytest.approx(expected)]


@pytest.mark.parametrize("code", ["wmooUnit:degF", "unit:degF"])
def test_fahrenheit_of_a_hand_made_copy_is_converted(code: str) -> None:
    told = layer(code, ("00:00:00+00:00/PT1H", 14))
    assert column("air_temperature_c", temperature=told) == [pytest.approx(-10.0)]


@pytest.mark.parametrize("code", ["wmoUnit:parsec", "wmoUnit:mm", "", None, 7])
def test_a_unit_that_cannot_be_gives_gaps_and_a_fault(code: object) -> None:
    told = layer(C, ("00:00:00+00:00/PT2H", 14))
    told["uom"] = code
    forecast, faults = read(answer(temperature=told))
    assert np.isnan(forecast.table.column("air_temperature_c")).all()
    assert "air_temperature_c" in forecast.table
    assert len(faults) == 1
    assert "temperature" in faults[0]
    assert "want a unit of temperature" in faults[0]


def test_a_fault_names_file_line_field_value_and_what_would_be_right() -> None:
    layers = layer(C, ("00:00:00+00:00/PT1H", 3), ("01:00:00+00:00/PT1H", "mild"))
    _, (told,) = read(answer(temperature=layers))
    assert told == (
        "answer.json:17: properties.temperature.values[1].value is 'mild'; "
        "want a number, or null for a gap"
    )


@pytest.mark.parametrize("value", [True, [], {}, "NaN", "Infinity", "1_0", ""])
def test_values_of_the_wrong_kind_are_gaps_and_faults(value: object) -> None:
    forecast, faults = read(answer(temperature=layer(C, ("00:00:00+00:00/PT1H", value))))
    assert np.isnan(forecast.table.column("air_temperature_c")).all()
    assert len(faults) == 1


@pytest.mark.parametrize(
    ("span", "hours"),
    [
        ("18:00:00+00:00/P1DT5H", 29),
        ("18:00:00+00:00/P1D", 24),
        ("18:00:00+00:00/PT24H", 24),
        ("18:00:00+00:00/PT180M", 3),
        ("18:00:00+00:00/P1W", 168),
        ("18:00:00Z/PT3600S", 1),
        ("18:00:00+00:00/2026-01-05T20:00:00+00:00", 2),
        ("13:00:00-05:00/PT4H", 4),
    ],
)
def test_durations_are_read_in_full(span: str, hours: int) -> None:
    forecast, faults = read(answer(temperature=layer(C, (span, 1.0))))
    assert faults == []
    assert forecast.table.hours == hours
    assert forecast.table.start[0] == np.datetime64("2026-01-05T18", "h")


@pytest.mark.parametrize(
    "span",
    [
        "18:00:00+00:00/PT0H",
        "18:00:00+00:00/P",
        "18:00:00+00:00/PT",
        "18:00:00+00:00/P1M",
        "18:00:00+00:00/P1Y",
        "18:00:00+00:00/-PT1H",
        "18:00:00/PT1H",
        "18:00:00+00:00",
        "18:00:00+00:00/2026-01-05T17:00:00+00:00",
        "25:00:00+00:00/PT1H",
        "NOW/PT1H",
    ],
)
def test_intervals_that_cannot_be_are_faults_not_hours(span: str) -> None:
    good = ("00:00:00+00:00/PT1H", 2)
    forecast, faults = read(answer(temperature=layer(C, good, (span, 1.0))))
    assert forecast.table.hours == 1
    assert len(faults) == 1
    assert "validTime" in faults[0]


def test_equal_intervals_count_once_and_are_told() -> None:
    rain = layer(MM, ("00:00:00+00:00/PT2H", 4.0), ("00:00:00+00:00/PT2H", 4.0))
    forecast, _ = read(answer(quantitativePrecipitation=rain))
    assert list(forecast.table.column("precipitation_amount_mm")) == [2.0, 2.0]
    assert "twice" in forecast.provenance.findings[0].what


def test_intervals_that_contradict_each_other_are_gaps() -> None:
    told = {
        "temperature": layer(C, ("00:00:00+00:00/PT3H", 5), ("02:00:00+00:00/PT2H", 9)),
        "quantitativePrecipitation": layer(
            MM, ("00:00:00+00:00/PT3H", 3), ("02:00:00+00:00/PT2H", 2)
        ),
    }
    forecast, _ = read(answer(**told))
    np.testing.assert_array_equal(forecast.table.column("air_temperature_c"), [5, 5, NAN, 9])
    np.testing.assert_array_equal(forecast.table.column("precipitation_amount_mm"), [1, 1, NAN, 1])
    assert [f.hours for f in forecast.provenance.findings] == [1, 1]


def test_overlapping_intervals_that_agree_are_no_gap() -> None:
    told = layer(C, ("00:00:00+00:00/PT3H", 5), ("01:00:00+00:00/PT3H", 5))
    assert column("air_temperature_c", temperature=told) == [5, 5, 5, 5]


def test_an_hour_covered_in_part_is_a_gap() -> None:
    told = {
        "temperature": layer(C, ("00:30:00+00:00/PT90M", 5)),
        "quantitativePrecipitation": layer(MM, ("00:30:00+00:00/PT90M", 3)),
    }
    np.testing.assert_array_equal(column("air_temperature_c", **told), [NAN, 5])
    np.testing.assert_allclose(column("precipitation_amount_mm", **told), [NAN, 2])


def test_shorter_intervals_give_the_mean_but_the_largest_gust() -> None:
    halves = [("00:00:00+00:00/PT30M", 18.0), ("00:30:00+00:00/PT30M", 36.0)]
    told = {"windSpeed": layer(KMH, *halves), "windGust": layer(KMH, *halves)}
    assert column("wind_speed_ms", **told) == [pytest.approx(7.5)]
    assert column("wind_speed_of_gust_ms", **told) == [pytest.approx(10.0)]


def test_null_is_a_gap_and_an_empty_or_absent_layer_is_no_column() -> None:
    forecast, faults = read(
        answer(
            temperature=layer(C, ("00:00:00+00:00/PT1H", None), ("01:00:00+00:00/PT1H", 4)),
            iceAccumulation={"values": []},
            snowfallAmount=None,
            windGust=layer(KMH, ("00:00:00+00:00/PT2H", None)),
        )
    )
    assert faults == []
    np.testing.assert_array_equal(forecast.table.column("air_temperature_c"), [NAN, 4])
    assert "ice_accumulation_mm" not in forecast.table
    assert "snowfall_amount_mm" not in forecast.table
    assert "wind_speed_of_gust_ms" in forecast.table, "lost values are a gap, not an absent layer"


def test_a_null_beside_a_value_for_the_same_hour_stays_a_gap() -> None:
    told = layer(C, ("00:00:00+00:00/PT2H", 4), ("01:00:00+00:00/PT1H", None))
    np.testing.assert_array_equal(column("air_temperature_c", temperature=told), [4, NAN])


def test_a_value_that_cannot_be_is_a_gap_and_told() -> None:
    told = layer("wmoUnit:degF", ("00:00:00+00:00/PT1H", 31), ("01:00:00+00:00/PT1H", 250))
    forecast, faults = read(answer(temperature=told))
    assert faults == []
    assert np.isnan(forecast.table.column("air_temperature_c")[1])
    (finding,) = forecast.provenance.findings
    assert finding.column == "air_temperature_c"
    assert "121.111 at 2026-01-05T01Z is outside -70 to 57" in finding.what


def test_a_leap_from_both_neighbours_is_a_gap_and_told() -> None:
    told = layer(
        C,
        ("00:00:00+00:00/PT4H", -6),
        ("04:00:00+00:00/PT2H", 21),
        ("06:00:00+00:00/PT4H", -7),
    )
    forecast, _ = read(answer(temperature=told))
    np.testing.assert_array_equal(
        np.isnan(forecast.table.column("air_temperature_c"))[3:7], [0, 1, 1, 0]
    )
    assert forecast.provenance.findings[0].hours == 2


def test_a_front_is_no_leap() -> None:
    told = layer(C, ("00:00:00+00:00/PT4H", 15), ("04:00:00+00:00/PT6H", -8))
    forecast, _ = read(answer(temperature=told))
    assert forecast.provenance.findings == ()


def test_dew_point_above_air_leaves_neither() -> None:
    forecast, _ = read(
        answer(
            temperature=layer(C, ("00:00:00+00:00/PT2H", 2)),
            dewpoint=layer(C, ("00:00:00+00:00/PT1H", 9), ("01:00:00+00:00/PT1H", 1)),
        )
    )
    for name in ("air_temperature_c", "dew_point_temperature_c"):
        assert list(np.isnan(forecast.table.column(name))) == [True, False]


def test_humidity_a_little_over_is_clipped() -> None:
    told = layer(PCT, ("00:00:00+00:00/PT1H", 100.3), ("01:00:00+00:00/PT1H", 140))
    np.testing.assert_array_equal(
        column("relative_humidity_pct", relativeHumidity=told), [100, NAN]
    )


def word(coverage: str | None, weather: str | None) -> list[dict[str, object]]:
    return [{"coverage": coverage, "weather": weather, "visibility": None, "attributes": None}]


def test_thunder_is_read_from_the_weather_words() -> None:
    told = layer(
        None,
        ("00:00:00+00:00/PT1H", word(None, None)),
        ("01:00:00+00:00/PT1H", word("slight_chance", "thunderstorms")),
        ("02:00:00+00:00/PT1H", word("likely", "thunderstorms") + word("chance", "rain")),
        ("03:00:00+00:00/PT1H", word("occasional", "thunderstorms")),
        ("04:00:00+00:00/PT1H", None),
        ("05:00:00+00:00/PT1H", []),
    )
    np.testing.assert_array_equal(
        column("thunderstorm_probability_pct", weather=told), [0, 20, 70, 100, NAN, 0]
    )


def test_words_raise_a_stated_chance_of_thunder_but_never_replace_a_lost_one() -> None:
    told = {
        "weather": layer(None, ("00:00:00+00:00/PT3H", word("chance", "thunderstorms"))),
        "probabilityOfThunder": layer(
            None,
            ("00:00:00+00:00/PT1H", 10),
            ("01:00:00+00:00/PT1H", 90),
            ("02:00:00+00:00/PT1H", None),
        ),
    }
    np.testing.assert_array_equal(column("thunderstorm_probability_pct", **told), [50, 90, NAN])


def test_a_bare_object_without_properties_reads_the_same() -> None:
    wrapped = answer(temperature=layer(C, ("00:00:00+00:00/PT3H", 5)))
    bare, faults = read(wrapped["properties"])
    assert faults == []
    assert list(bare.table.column("air_temperature_c")) == [5, 5, 5]
    assert bare.provenance.place == "BTV 10,20"


def test_without_an_issue_time_the_file_is_faulty() -> None:
    data = answer(temperature=layer(C, ("00:00:00+00:00/PT3H", 5)))
    del data["properties"]["updateTime"]  # type: ignore[attr-defined]
    forecast, faults = read(data)
    assert forecast.provenance.issued_at is None
    assert "updateTime" in faults[0]


def test_an_interval_of_months_is_refused_and_takes_no_memory() -> None:
    _, faults = read(answer(temperature=layer(C, ("00:00:00+00:00/P9999D", 5))))
    assert "9999 days" in faults[0]


def test_cell_middle_elevation_and_distance_are_told() -> None:
    data = answer(
        temperature=layer(C, ("00:00:00+00:00/PT3H", 5)),
        elevation={"unitCode": "wmoUnit:m", "value": 240},
    )
    ring = [[-73.2, 44.0], [-73.2, 44.2], [-73.4, 44.2], [-73.4, 44.0], [-73.2, 44.0]]
    data["geometry"] = {"type": "Polygon", "coordinates": [ring]}
    forecast, _ = read(data)
    here = Site("yard", 44.0, -73.3, 100.0, "America/New_York")
    placed = at_site(forecast, here).provenance
    assert (placed.latitude_deg, placed.longitude_deg) == pytest.approx((44.1, -73.3))
    # 0.1 degree of latitude on a sphere of 6371.0088 km: pi * R / 1800
    assert placed.distance_km == pytest.approx(11.1195, abs=1e-3)
    assert [f.what for f in placed.findings] == [
        "the forecast is for a place 11 km from the site",
        "the cell lies at 240 m, the site at 100 m",
    ]


def test_a_total_that_cannot_be_is_a_gap_even_where_its_share_could_be() -> None:
    told = layer(MM, ("00:00:00+00:00/PT100H", 9000.0))
    forecast, faults = read(answer(iceAccumulation=told))
    assert faults == []
    assert np.isnan(forecast.table.column("ice_accumulation_mm")).all()
    assert "9000 mm for 100 h" in forecast.provenance.findings[0].what
