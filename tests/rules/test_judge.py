from __future__ import annotations

import numpy as np
import pytest

from rules.book import Book, load_book
from rules.explain import explain
from rules.judge import NEVER, Asked, hour_verdicts, start_and_work_verdicts, start_verdicts
from rules.units import convert
from rules.verdict import Verdict
from rules.weather import Weather

GO, PROTECT, NOT_KNOWN, NO_GO = Verdict


@pytest.fixture(scope="module")
def book() -> Book:
    return load_book("tms602-2016")


def weather(hours: int = 96, *, lead: tuple[int, ...] = (), **columns: object) -> Weather:
    fair = {
        "air_temperature_c": 10.0,
        "wind_speed_ms": 2.0,
        "wind_speed_of_gust_ms": 3.0,
        "precipitation_amount_mm": 0.0,
        "precipitation_probability_pct": 0.0,
    }
    shape = (*lead, hours)
    table = {
        name: np.array(np.broadcast_to(value, shape), dtype=np.float64)
        for name, value in {**fair, **columns}.items()
        if value is not None
    }
    return Weather(table, hours)


def fahrenheit(values: object) -> np.ndarray:
    return convert(np.asarray(values, dtype=np.float64), "degF", "degC")


def test_a_fair_day_asks_for_nothing(book: Book) -> None:
    sky = weather()
    assert (hour_verdicts(book, Asked("lay_block"), sky) == GO).all()
    starts = start_verdicts(book, Asked("lay_block", {"task.grouted": False}), sky, 5)
    assert (starts[:60] == GO).all()


@pytest.mark.parametrize(
    ("air_f", "expected"),
    [(41, GO), (40, GO), (39.99, PROTECT), (32, PROTECT), (19, PROTECT)],
)
def test_the_cold_bands_own_their_edges(book: Book, air_f: float, expected: Verdict) -> None:
    sky = weather(air_temperature_c=fahrenheit(air_f))
    assert (hour_verdicts(book, Asked("lay_block"), sky) == expected).all()


def test_a_measure_that_cannot_be_had_is_a_no_go_and_is_still_named(book: Book) -> None:
    sky = weather(air_temperature_c=fahrenheit(18))
    asked = Asked("lay_block", measures=frozenset({"heat_sand", "heat_mixing_water"}))
    assert (hour_verdicts(book, asked, sky) == NO_GO).all()
    first = explain(book, asked, sky, 0, 5)[0]
    lacking = {name for ask in first.measures if not ask.to_be_had for name in ask.measure}
    assert "heated_enclosure" in lacking
    assert first.outcome is PROTECT


def test_the_night_after_decides_the_grouting_noon(book: Book) -> None:
    air = np.full(96, 8.0)
    air[36:40] = fahrenheit(15)
    sky = weather(air_temperature_c=air)
    asked = Asked("place_grout", {"task.grouted": True}, frozenset({"insulating_blankets"}))
    starts = start_verdicts(book, asked, sky, 4)
    assert starts[0] == NO_GO  # 32 h after the end
    assert starts[41] == NO_GO  # cells that stood at 15 F until an hour ago
    assert starts[50] == GO
    with_heat = Asked("place_grout", {"task.grouted": True}, frozenset({"heated_enclosure"}))
    assert start_verdicts(book, with_heat, sky, 4)[0] == PROTECT


def test_filled_cells_go_by_the_least_and_empty_ones_by_the_mean(book: Book) -> None:
    air = np.full(96, 8.0)
    air[30:33] = fahrenheit(23)
    sky = weather(air_temperature_c=air)
    plain = explain(book, Asked("protect_masonry", {"task.grouted": False}), sky, 10, 14)
    filled = explain(book, Asked("protect_masonry", {"task.grouted": True}), sky, 10, 14)
    assert "masonry.cold.protect-grouted" not in {r.row.id for r in plain}
    worst = filled[0]
    assert (worst.row.id, worst.taken_as, worst.at) == ("masonry.cold.protect-grouted", "min", 30)
    assert worst.value == pytest.approx(23)
    (blankets,) = worst.measures
    assert (blankets.measure, blankets.until_h) == (("insulating_blankets",), 62.0)


def test_a_gap_is_never_go_and_the_end_of_a_forecast_is_no_gap(book: Book) -> None:
    air = np.full(96, 12.0)
    air[50] = np.nan
    asked = Asked("place_grout", {"task.grouted": True})
    assert start_verdicts(book, asked, weather(air_temperature_c=air), 4)[20] == NOT_KNOWN
    air[50:] = np.nan
    sky = weather(air_temperature_c=air)
    assert start_verdicts(book, asked, sky, 4)[20] == GO
    reasons = {r.row.id: r for r in explain(book, asked, sky, 20, 24)}
    assert reasons["masonry.cold.protect-grouted"].look_again
    lay = Asked("lay_block", {"task.grouted": False})
    assert start_verdicts(book, lay, sky, 4)[20] == GO
    assert start_verdicts(book, lay, sky, 4)[40] == NOT_KNOWN  # the mean needs all of its 24 h


def test_a_missing_gust_is_told_from_the_mean_wind_and_flagged(book: Book) -> None:
    sky = weather(wind_speed_of_gust_ms=None, wind_speed_ms=8.0)
    assert (hour_verdicts(book, Asked("lower_house"), sky)[:3] == NO_GO).all()
    told = {r.row.id: r for r in explain(book, Asked("lower_house"), sky, 0, 3)}
    assert "1.5 times" in told["wind.lift.gust"].stood_in
    still = weather(wind_speed_of_gust_ms=None, wind_speed_ms=None)
    assert (hour_verdicts(book, Asked("lower_house"), still) == NOT_KNOWN).all()


def test_work_that_never_ends_or_runs_past_the_table_is_never_go(book: Book) -> None:
    finish = np.arange(96) + 4
    finish[7] = NEVER
    verdicts = start_and_work_verdicts(book, Asked("lower_house"), weather(), finish)
    assert verdicts[7] == NO_GO
    assert (verdicts[93:] >= NOT_KNOWN).all()


def test_a_reading_counts_for_its_hours_only(book: Book) -> None:
    asked = Asked("lay_block", {"unit_core_temperature": (19.0, "degF")}, now=2)
    verdicts = hour_verdicts(book, asked, weather())
    # Six hours by its row; what refuses and can be read again, to the end of a shift.
    assert (verdicts[2:14] == NO_GO).all()
    assert verdicts[0] == verdicts[14] == GO


def test_scenarios_run_through_the_same_code(book: Book) -> None:
    rng = np.random.default_rng(3)
    air = rng.normal(2, 6, (5, 96))
    gust = rng.gamma(3, 2, (5, 96))
    asked = Asked("place_grout", {"task.grouted": True}, frozenset({"insulating_blankets"}))
    finish = np.minimum(np.arange(96) // 10 * 10 + 13, 200)
    both = weather(lead=(5,), air_temperature_c=air, wind_speed_of_gust_ms=gust)
    together = start_and_work_verdicts(book, asked, both, finish)
    for row in range(5):
        one = weather(air_temperature_c=air[row], wind_speed_of_gust_ms=gust[row])
        assert (start_and_work_verdicts(book, asked, one, finish) == together[row]).all()
