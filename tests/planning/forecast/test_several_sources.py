"""Several sources made into one, on the side that is worse for the work."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.forecast.several_sources import combined
from scheduler.planning.tables.hours import Alert, Forecast, HourlyTable, PeriodChance, Provenance

NOW = datetime(2026, 11, 9, 12, tzinfo=UTC)
ZERO = np.datetime64("2026-11-09T12", "h")
NAN = np.nan


def forecast(
    source: str, *, begin: int = 0, age_h: float = 1.0, **columns: list[float]
) -> Forecast:
    hours = len(next(iter(columns.values())))
    table = HourlyTable(
        start=ZERO + begin + np.arange(hours),
        columns={name: np.array(values, dtype=float) for name, values in columns.items()},
    )
    return Forecast(table, Provenance(source, NOW - timedelta(hours=age_h), None))


def told(one: Forecast) -> list[str]:
    return [f"{f.column}: {f.what} ({f.hours})" for f in one.provenance.findings]


def test_the_colder_wetter_windier_side_is_planned_on() -> None:
    both = combined(
        [
            forecast(
                "a",
                air_temperature_c=[4, -2],
                precipitation_amount_mm=[0, 2],
                wind_speed_of_gust_ms=[9, 9],
            ),
            forecast(
                "b",
                air_temperature_c=[2, 0],
                precipitation_amount_mm=[1, 0],
                wind_speed_of_gust_ms=[8, 11],
            ),
        ],
        now=NOW,
    ).table
    assert list(both.column("air_temperature_c")) == [2, -2]
    assert list(both.column("precipitation_amount_mm")) == [1, 2]
    assert list(both.column("wind_speed_of_gust_ms")) == [9, 11]


def test_in_heat_the_warmer_side_is_planned_on() -> None:
    both = combined(
        [forecast("a", air_temperature_c=[30, 24]), forecast("b", air_temperature_c=[36, 33])],
        now=NOW,
    )
    assert list(both.table.column("air_temperature_c")) == [36, 24]


def test_how_far_they_differ_is_told() -> None:
    both = combined(
        [forecast("a", air_temperature_c=[4, -2, 1]), forecast("b", air_temperature_c=[4, 5, -4])],
        now=NOW,
    )
    assert told(both) == [
        "air_temperature_c: sources differ, most at 2026-11-09T13Z: a -2.0, b 5.0 (2)"
    ]


def test_what_only_one_knows_is_taken_and_told() -> None:
    both = combined(
        [
            forecast("a", precipitation_amount_mm=[0, NAN, NAN]),
            forecast("b", begin=1, precipitation_amount_mm=[3, NAN, 1]),
        ],
        now=NOW,
    )
    np.testing.assert_array_equal(both.table.column("precipitation_amount_mm"), [0, 3, NAN, 1])
    assert told(both) == ["precipitation_amount_mm: not known to a, taken from another (2)"]


def test_a_stale_source_is_left_out_and_named() -> None:
    both = combined(
        [forecast("a", air_temperature_c=[4]), forecast("b", age_h=13, air_temperature_c=[-9])],
        now=NOW,
    )
    assert list(both.table.column("air_temperature_c")) == [4]
    assert told(both) == [": b is too old and left out: 13 h, limit 12 h (0)"]


def test_where_all_are_stale_the_first_keeps_its_age() -> None:
    both = combined(
        [
            forecast("a", age_h=30, air_temperature_c=[4]),
            forecast("b", age_h=40, air_temperature_c=[1]),
        ],
        now=NOW,
    )
    assert both.provenance.age_h(NOW) == 30
    assert both.provenance.source == "a"


def test_the_age_is_of_whichever_runs_out_first() -> None:
    both = combined(
        [
            forecast("a", age_h=2, air_temperature_c=[4]),
            forecast("b", age_h=11, air_temperature_c=[4]),
        ],
        now=NOW,
    )
    assert both.provenance.age_h(NOW) == 11
    assert both.provenance.source == "a + b"


def test_columns_without_a_worse_side_come_from_the_first_that_knows() -> None:
    both = combined(
        [
            forecast("a", wind_from_direction_deg=[10, NAN], air_temperature_c=[5, 5]),
            forecast(
                "b",
                wind_from_direction_deg=[20, 20],
                air_temperature_c=[1, 5],
                dew_point_temperature_c=[3, 3],
            ),
        ],
        now=NOW,
    ).table
    assert list(both.column("wind_from_direction_deg")) == [10, 20]
    assert list(both.column("dew_point_temperature_c")) == [1, 3], "never above the air"


def test_periods_and_alerts_of_all_are_kept() -> None:
    span = (NOW, NOW + timedelta(hours=12))
    alert = Alert("Freeze Warning", *span, "", "x")
    one = forecast("a", air_temperature_c=[1])
    first = Forecast(one.table, one.provenance, periods=(PeriodChance(*span, 30),))
    second = Forecast(
        one.table, one.provenance, periods=(PeriodChance(*span, 60),), alerts=(alert, alert)
    )
    both = combined([first, second], now=NOW)
    assert both.periods == (PeriodChance(*span, 60),)
    assert both.alerts == (alert,)
    assert combined([first, first], now=NOW).alerts is None


values = st.lists(st.one_of(st.just(NAN), st.floats(-30, 24)), min_size=6, max_size=6)


@given(a=values, b=values, begin=st.integers(0, 4))
def test_another_source_never_makes_it_milder(a: list[float], b: list[float], begin: int) -> None:
    one = forecast("a", air_temperature_c=a, wind_speed_ms=a)
    both = combined(
        [one, forecast("b", begin=begin, air_temperature_c=b, wind_speed_ms=b)], now=NOW
    )
    cold, wind = (both.table.column(n)[:6] for n in ("air_temperature_c", "wind_speed_ms"))
    known = np.isfinite(np.array(a))
    assert (cold[known] <= np.array(a)[known]).all()
    assert (wind[known] >= np.array(a)[known]).all()


def test_there_must_be_one() -> None:
    with pytest.raises(ValueError, match="no forecast"):
        combined([], now=NOW)
