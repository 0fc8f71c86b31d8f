"""Grid files become hours at a site: chosen by level and interval, nothing twice, gaps kept."""

from __future__ import annotations

import importlib.util
import struct
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from rules.errors import Faults, WeatherUnavailable
from scheduler.planning.model.job import Site
from scheduler.planning.tables.hours import Forecast
from scheduler.weather.grids.cells import Method
from scheduler.weather.grids.decode import Decoder
from scheduler.weather.grids.forecast import Reading, read_grid_files
from tests.recorded_data import recorded
from tests.weather.grids import making

pytestmark = pytest.mark.skipif(
    importlib.util.find_spec("eccodes") is None, reason="the grids extra is not installed"
)
RUN = datetime(2026, 11, 20, 6, tzinfo=UTC)
GRID = making.latlon(3, 3, 45.0, -94.0, 1.0)
SITE = Site("north end", 44.1, -93.2, 300.0, "America/Chicago")
AIR, DEW, SKIN = ((0, 0, 0), (103, 2)), ((0, 0, 6), (103, 2)), ((0, 0, 0), (1, 0))
RAIN, GUST = ((0, 1, 8), (1, 0)), ((0, 2, 22), (1, 0))
EAST, NORTH = ((0, 2, 2), (103, 10)), ((0, 2, 3), (103, 10))
HEIGHT = ((0, 3, 5), (1, 0))


@pytest.fixture(scope="module")
def decoder() -> Iterator[Decoder]:
    with Decoder() as one:
        yield one


class Files:
    """Writes fields to files and reads them back as a forecast."""

    def __init__(self, folder: Path, decoder: Decoder) -> None:
        self.folder, self.decoder = folder, decoder
        self.paths: list[Path] = []

    def add(self, what: tuple, value: float | list[float], *, grid: bytes = GRID, **how) -> None:
        values = value if isinstance(value, list) else [value] * 9
        run = how.pop("run", RUN)
        self.raw(making.field(run, grid, values, *what, **how))

    def raw(self, content: bytes) -> None:
        path = self.folder / f"{len(self.paths)}.grib2"
        path.write_bytes(content)
        self.paths.append(path)

    def read(self, site: Site = SITE, **how) -> Forecast:
        return read_grid_files(self.paths, site, Reading(**how), self.decoder)


@pytest.fixture
def files(tmp_path: Path, decoder: Decoder) -> Files:
    return Files(tmp_path, decoder)


def told(forecast: Forecast) -> str:
    return "\n".join(f"{f.column}: {f.what}" for f in forecast.provenance.findings)


def test_air_is_taken_at_two_metres_and_never_from_the_ground(files: Files) -> None:
    files.add(SKIN, 310.0, lead=1)
    files.add(AIR, 275.15, lead=1)
    got = files.read()
    assert got.table.column("air_temperature_c") == pytest.approx([2.0], abs=1e-3)
    assert got.table.column("surface_temperature_c") == pytest.approx([36.85], abs=1e-3)


def test_a_file_with_the_ground_s_temperature_alone_has_no_air_temperature(files: Files) -> None:
    files.add(SKIN, 310.0, lead=1)
    assert "air_temperature_c" not in files.read().table


def test_rain_since_the_start_beside_rain_of_the_last_hour(files: Files) -> None:
    files.add(RAIN, 9.0, lead=5, since=0)
    files.add(RAIN, 10.5, lead=6, since=0)
    files.add(RAIN, 0.4, lead=7, since=6)
    files.add(RAIN, 10.9, lead=7, since=0)
    got = files.read()
    rain = got.table.column("precipitation_amount_mm")
    assert str(got.table.start[0]) == "2026-11-20T06"
    assert rain[5:] == pytest.approx([1.5, 0.4], abs=2e-3)
    assert rain.sum() == pytest.approx(10.9, abs=2e-3)
    assert "intervals of up to 7 h" in told(got)


def test_one_label_twice_is_one_amount(files: Files) -> None:
    files.add(RAIN, 6.0, lead=6, since=0)
    files.add(RAIN, 6.02, lead=6, since=0)
    assert files.read().table.column("precipitation_amount_mm").sum() == pytest.approx(
        6.0, abs=0.03
    )


def test_one_label_with_two_different_amounts_is_unknown(files: Files) -> None:
    files.add(RAIN, 6.0, lead=6, since=0)
    files.add(RAIN, 1.0, lead=6, since=0)
    files.add(AIR, 275.0, lead=1)
    got = files.read()
    assert np.isnan(got.table.column("precipitation_amount_mm")).all()
    assert "two different values" in told(got)


def test_a_total_that_contradicts_its_hours_makes_them_unknown(files: Files) -> None:
    for hour in range(3):
        files.add(RAIN, 0.0, lead=hour + 1, since=hour)
    files.add(RAIN, 12.0, lead=3, since=0)
    got = files.read()
    assert np.isnan(got.table.column("precipitation_amount_mm")).all()
    assert "contradicts" in told(got)


def test_a_mean_rate_beside_the_amount_is_not_added(files: Files) -> None:
    files.add(RAIN, 6.0, lead=6, since=0)
    files.add(((0, 1, 7), (1, 0)), 6.0 / 21600, lead=6, since=0, statistic=0, decimals=7)
    assert files.read().table.column("precipitation_amount_mm").sum() == pytest.approx(
        6.0, abs=0.01
    )


def test_a_mean_rate_alone_gives_the_amount(files: Files) -> None:
    files.add(((0, 1, 7), (1, 0)), 6.0 / 21600, lead=6, since=0, statistic=0, decimals=9)
    assert files.read().table.column("precipitation_amount_mm") == pytest.approx(
        [1.0] * 6, abs=1e-3
    )


def test_hours_between_amounts_stay_unknown(files: Files) -> None:
    files.add(RAIN, 1.0, lead=1, since=0)
    files.add(RAIN, 1.0, lead=4, since=3)
    rain = files.read().table.column("precipitation_amount_mm")
    assert np.isnan(rain[1:3]).all()


def test_minutes_count_as_minutes(files: Files) -> None:
    half_past = datetime(2026, 11, 20, 6, 30, tzinfo=UTC)
    for lead, kelvin in ((0.5, 270.0), (1.5, 271.0)):
        files.add(AIR, kelvin, lead=lead, unit=0, run=half_past)
    got = files.read()
    assert [str(hour) for hour in got.table.start] == ["2026-11-20T07", "2026-11-20T08"]
    assert got.table.column("air_temperature_c") == pytest.approx([-3.15, -2.15], abs=1e-3)


def test_quarter_hours_give_the_hour_s_mean_its_strongest_gust_and_its_rain(files: Files) -> None:
    for quarter in range(4):
        lead = 1 + quarter / 4
        files.add(AIR, 274.0 + quarter, lead=lead, unit=0)
        files.add(GUST, 5.0 + quarter, lead=lead, unit=0)
        files.add(RAIN, 0.5 * quarter, lead=lead + 0.25, since=lead, unit=0)
    got = files.read().table
    assert got.column("air_temperature_c") == pytest.approx([2.35], abs=1e-3)
    assert got.column("wind_speed_of_gust_ms") == pytest.approx([8.0], abs=1e-3)
    assert got.column("precipitation_amount_mm") == pytest.approx([3.0], abs=2e-3)


def test_a_model_s_regular_three_hour_steps_are_bridged_and_told(files: Files) -> None:
    for lead, kelvin in ((0, 273.15), (3, 276.15), (6, 270.15)):
        files.add(AIR, kelvin, lead=lead)
        files.add(GUST, {0: 4.0, 3: 10.0, 6: 2.0}[lead], lead=lead)
    got = files.read()
    air = got.table.column("air_temperature_c")
    assert air == pytest.approx([0, 1, 2, 3, 1, -1, -3], abs=1e-3)
    gust = got.table.column("wind_speed_of_gust_ms")
    assert gust == pytest.approx([4, 10, 10, 10, 10, 10, 2], abs=1e-3), "never below an end"
    assert "a straight line between is assumed" in told(got)


def test_a_missing_file_in_an_hourly_run_stays_a_gap(files: Files) -> None:
    for lead in (0, 1, 2, 5, 6, 7):
        files.add(AIR, 273.15 + lead, lead=lead)
    air = files.read().table.column("air_temperature_c")
    assert np.isnan(air[3:5]).all()
    assert np.isfinite(air[[0, 1, 2, 5, 6, 7]]).all()


def test_a_missing_file_in_a_three_hourly_run_stays_a_gap(files: Files) -> None:
    for lead in (0, 3, 6, 12, 15):
        files.add(AIR, 273.15, lead=lead)
    air = files.read().table.column("air_temperature_c")
    assert np.isnan(air[7:12]).all()
    assert np.isfinite(air[:7]).all()


def test_a_wind_that_turns_between_steps_is_not_weakened(files: Files) -> None:
    for lead, (u, v) in {0: (8.0, 0.0), 3: (-8.0, 0.1), 6: (8.0, 0.0)}.items():
        files.add(EAST, u, lead=lead)
        files.add(NORTH, v, lead=lead)
    wind = files.read().table.column("wind_speed_ms")
    assert wind == pytest.approx([8.0] * 7, abs=0.01)


MAP = making.lambert(
    30, 30, 38.0, -82.0, 30000.0, centre_lon=-97.5, parallels=(38.5, 38.5), flags=8
)
TRUE = making.lambert(
    30, 30, 38.0, -82.0, 30000.0, centre_lon=-97.5, parallels=(38.5, 38.5), flags=0
)


@pytest.mark.parametrize(("grid", "turned"), [(MAP, True), (TRUE, False)])
def test_wind_is_turned_only_where_the_flag_says_it_follows_the_grid(
    files: Files, grid: bytes, turned: bool
) -> None:
    files.add(EAST, [0.0] * 900, grid=grid, lead=1)
    files.add(NORTH, [-10.0] * 900, grid=grid, lead=1)
    site = Site("east", 40.0, -80.0, 300.0, "America/New_York")
    got = files.read(site)
    assert got.table.column("wind_speed_ms") == pytest.approx([10.0], abs=1e-3)
    at = got.provenance.longitude_deg
    # the grid's y points east of north by n (lon - lon0), so wind down it comes from there
    want = np.sin(np.radians(38.5)) * (at + 97.5) if turned else 0.0
    assert got.table.column("wind_from_direction_deg") == pytest.approx([want], abs=0.01)


def test_one_part_of_the_wind_alone_gives_no_wind(files: Files) -> None:
    files.add(EAST, 8.0, lead=1)
    files.add(AIR, 273.15, lead=1)
    got = files.read()
    assert "wind_speed_ms" not in got.table
    assert "only one of the wind's two parts" in told(got)


def test_members_become_the_leading_axis(files: Files) -> None:
    for lead in (1, 2):
        files.add(AIR, 280.15, lead=lead, member=(1, 0))
        for number in (1, 2):
            files.add(AIR, 270.15 + number, lead=lead, member=(3, number))
    files.add(RAIN, 1.5, lead=2, since=1, member=(3, 2))
    got = files.read()
    assert got.extras["members"] == ("control", "member 1", "member 2")
    want = np.array([[7.0, 7.0], [-2.0, -2.0], [-1.0, -1.0]])
    assert got.table.column("air_temperature_c") == pytest.approx(want, abs=1e-3)
    rain = got.table.column("precipitation_amount_mm")
    assert rain.shape == (3, 2)
    assert rain[2] == pytest.approx([1.5, np.nan], abs=1e-3, nan_ok=True)
    assert np.isnan(rain[:2]).all(), "a member without rain is unknown, not dry"


def test_spread_percentiles_and_other_chances_are_no_values(files: Files) -> None:
    files.add(AIR, 273.15, lead=1)
    files.add(AIR, 1.5, lead=2, derived=4)
    files.add(AIR, 280.0, lead=3, percentile=90)
    files.add(RAIN, 45.0, lead=1, since=0, above_mm=2.54)
    files.add(RAIN, 99.0, lead=1, since=0, percentile=90)
    got = files.read().table
    assert got.hours == 1
    assert set(got.columns) == {"air_temperature_c"}


def test_the_mean_of_the_members_is_a_value(files: Files) -> None:
    files.add(AIR, 273.15, lead=1, derived=0)
    assert files.read().table.column("air_temperature_c") == pytest.approx([0.0], abs=1e-3)


def test_chance_of_measurable_rain_holds_for_its_interval(files: Files) -> None:
    files.add(RAIN, 40.0, lead=6, since=0, above_mm=0.254)
    files.add(RAIN, 70.0, lead=9, since=3, above_mm=0.254)
    got = files.read()
    chance = got.table.column("precipitation_probability_pct")
    assert chance == pytest.approx([40] * 3 + [70] * 6)
    assert "precipitation_amount_mm" not in got.table
    assert [(p.end - p.start).total_seconds() / 3600 for p in got.periods] == [6.0, 6.0]
    assert [p.precipitation_probability_pct for p in got.periods] == [40.0, 70.0]


def test_sun_in_growing_buckets_by_hour(files: Files) -> None:
    flux = ((0, 4, 7), (1, 0))
    for end, mean in ((1, 100.0), (2, 150.0), (3, 200.0)):
        files.add(flux, mean, lead=end, since=0, statistic=0)
    sun = files.read().table.column("surface_downwelling_shortwave_flux_wm2")
    assert sun == pytest.approx([100.0, 200.0, 300.0], abs=0.02)


def test_the_newest_run_of_a_column_is_used(files: Files) -> None:
    files.add(AIR, 260.0, lead=7, run=datetime(2026, 11, 20, 0, tzinfo=UTC))
    files.add(AIR, 273.15, lead=1)
    got = files.read()
    assert got.table.column("air_temperature_c") == pytest.approx([0.0], abs=1e-3)
    assert got.provenance.issued_at == RUN


def test_the_oldest_run_in_use_dates_the_forecast(files: Files) -> None:
    files.add(AIR, 273.15, lead=1)
    files.add(DEW, 270.15, lead=7, run=datetime(2026, 11, 20, 0, tzinfo=UTC))
    got = files.read()
    assert got.provenance.issued_at == datetime(2026, 11, 20, 0, tzinfo=UTC)
    assert "2 runs" in told(got)


def test_height_of_the_cell_and_the_lapse_rate(files: Files) -> None:
    files.add(AIR, 273.15, lead=1)
    files.add(DEW, 273.05, lead=1)
    files.add(HEIGHT, 100.0, lead=1)
    plain = files.read()
    assert plain.provenance.elevation_m == pytest.approx(100.0)
    assert plain.table.column("air_temperature_c") == pytest.approx([0.0], abs=1e-3)
    lifted = files.read(lapse_rate_c_per_km=6.5)
    assert lifted.table.column("air_temperature_c") == pytest.approx([-1.3], abs=1e-3)
    assert lifted.table.column("dew_point_temperature_c") == pytest.approx([-1.3], abs=1e-3)
    assert "-1.3 K for +200 m" in told(lifted)


def test_an_unknown_height_is_told_and_nothing_corrected(files: Files) -> None:
    files.add(AIR, 273.15, lead=1)
    got = files.read(lapse_rate_c_per_km=6.5)
    assert got.table.column("air_temperature_c") == pytest.approx([0.0], abs=1e-3)
    assert "do not give the ground's height" in told(got)


def test_the_cell_and_its_distance_are_told(files: Files) -> None:
    files.add(AIR, [270.0 + n for n in range(9)], lead=1)
    got = files.read()
    assert got.provenance.place == "row 1, column 1 of lat-lon 3 x 3"
    assert (got.provenance.latitude_deg, got.provenance.longitude_deg) == (44.0, -93.0)
    # 0.1 degree north, 0.2 degree west at 44 N on a sphere of 6371.229 km
    assert got.provenance.distance_km == pytest.approx(np.hypot(11.12, 22.24 * 0.7188), abs=0.02)
    assert got.table.column("air_temperature_c") == pytest.approx([274.0 - 273.15], abs=1e-3)
    four = files.read(method=Method.BILINEAR)
    assert four.provenance.place.startswith("four cells around row 1, column 1")
    # rows fall northward by 3 a row, columns rise by 1: 0.1 row up, 0.2 column left
    assert four.table.column("air_temperature_c") == pytest.approx([0.85 - 0.3 - 0.2], abs=1e-3)


def test_a_site_on_a_masked_cell_is_not_covered(files: Files) -> None:
    files.add(AIR, [270.0] * 4 + [np.nan] + [270.0] * 4, lead=1)
    with pytest.raises(WeatherUnavailable, match="not covered"):
        files.read()


def test_a_masked_column_beside_a_good_one_is_told(files: Files) -> None:
    files.add(AIR, 270.0, lead=1)
    files.add(SKIN, [270.0] * 4 + [np.nan] + [270.0] * 4, lead=1)
    got = files.read()
    assert np.isnan(got.table.column("surface_temperature_c")).all()
    assert "surface_temperature_c: not covered" in told(got)


def test_a_site_off_the_grid_is_not_covered(files: Files) -> None:
    files.add(AIR, 270.0, lead=1)
    with pytest.raises(WeatherUnavailable, match="does not cover the site"):
        files.read(Site("far", 20.0, 10.0, 0.0, "UTC"))


def test_a_bad_file_beside_good_ones_is_a_gap_and_is_told(files: Files) -> None:
    for lead in (0, 1, 2):
        files.add(AIR, 273.15, lead=lead)
    files.paths[1].write_bytes(files.paths[1].read_bytes()[:-20])
    got = files.read()
    assert np.isnan(got.table.column("air_temperature_c")).tolist() == [False, True, False]
    assert "1.grib2: message 1 is 'cut off at" in told(got)


def test_nothing_but_bad_files_is_one_line_each(files: Files) -> None:
    files.raw(b"")
    files.raw(b"<html>busy</html>")
    files.raw(making.field(RUN, GRID, [1.0] * 9, (0, 3, 5), (100, 50000), lead=1))
    files.paths.append(files.folder / "absent.grib2")
    with pytest.raises(Faults) as refused:
        files.read()
    assert len(refused.value.lines()) == 4
    assert all("\n" not in line for line in refused.value.lines())


def test_an_impossible_value_is_a_gap_and_is_told(files: Files) -> None:
    files.add(AIR, 394.0, lead=1)
    files.add(AIR, 273.0, lead=2)
    got = files.read()
    assert np.isnan(got.table.column("air_temperature_c")).tolist() == [True, False]
    assert "is outside -70 to 57" in told(got)


def test_a_stated_start_that_contradicts_the_end_is_not_believed(files: Files) -> None:
    """The national database puts the interval's end where its start belongs."""
    high = ((0, 0, 4), (1, 0))
    content = making.field(
        datetime(2026, 11, 20, 22, tzinfo=UTC), GRID, [290.0] * 9, *high,
        lead=2, since=-10, statistic=2,
    )  # fmt: skip
    at = content.index(struct.pack(">IB", 58, 4)) + 18
    files.raw(content[:at] + struct.pack(">I", 2) + content[at + 4 :])
    got = files.read()
    assert [(day.date, round(day.values["air_temperature_max_c"], 2)) for day in got.daily] == [
        ("2026-11-20", 16.85)
    ]
    assert got.table.hours == 0


def test_an_interval_that_leaves_out_the_decisive_hours_is_no_day_s_extreme(files: Files) -> None:
    high, low = ((0, 0, 4), (103, 2)), ((0, 0, 5), (103, 2))
    # 06 to 18 UTC is midnight to noon at the site: the low falls in it, the high does not
    files.add(high, 280.0, lead=12, since=0, statistic=2)
    files.add(low, 268.15, lead=12, since=0, statistic=3)
    (day,) = files.read().daily
    assert day.date == "2026-11-20"
    assert set(day.values) == {"air_temperature_min_c"}


RECORDED_SITE = Site("south of the cities", 44.1, -93.2, 300.0, "America/Chicago")


def recorded_forecast(name: str, decoder: Decoder) -> Forecast:
    return read_grid_files([recorded("grib2", name)], RECORDED_SITE, None, decoder)


def test_recorded_rain_is_not_doubled(decoder: Decoder) -> None:
    got = read_grid_files(
        [recorded("grib2", "hrrr-conus-apcp-2020121400-f012.grib2")],
        Site("coast", 33.9, -77.2, 5.0, "America/New_York"), None, decoder,
    )  # fmt: skip
    rain = got.table.column("precipitation_amount_mm")
    assert rain.shape == (12,)
    assert np.unique(rain[:11]).size == 1, "all but the last hour share the rest evenly"
    assert got.provenance.issued_at == datetime(2020, 12, 14, 0, tzinfo=UTC)


def test_recorded_daytime_highs_fall_on_their_local_days(decoder: Decoder) -> None:
    got = recorded_forecast("ndfd-conus-maxt-2011092922.grib2", decoder)
    assert [day.date for day in got.daily] == [
        "2011-09-29", "2011-09-30", "2011-10-01", "2011-10-02",
    ]  # fmt: skip


def test_recorded_minutes_fall_on_whole_hours(decoder: Decoder) -> None:
    got = recorded_forecast("ndfd-conus-temp-202502060030.grib2", decoder)
    assert [str(hour) for hour in got.table.start] == ["2025-02-06T01", "2025-02-06T02"]


def test_recorded_messages_of_two_scanning_modes_agree_on_the_cell(decoder: Decoder) -> None:
    got = recorded_forecast("nbm-conus-tmpsfc-tmp2m-tcdc-2026061612-f001.grib2", decoder)
    assert "different places" not in told(got)
    assert np.isfinite(got.table.column("air_temperature_c")).all()


def test_recorded_sea_mask_is_not_covered_on_land(decoder: Decoder) -> None:
    with pytest.raises(WeatherUnavailable, match="not covered"):
        read_grid_files(
            [recorded("grib2", "gfswave-atlocn-0p16-2023082318-f001.grib2")],
            Site("inland", 42.0, -75.0, 300.0, "America/New_York"), None, decoder,
        )  # fmt: skip
