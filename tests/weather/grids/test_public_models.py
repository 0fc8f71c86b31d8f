"""Public models by their file naming: the newest whole run, kept as text and read again."""

from __future__ import annotations

import importlib.util
import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.errors import BadInput, Faults, WeatherUnavailable
from scheduler.planning.model.job import Site
from scheduler.weather.grids.forecast import read_grid_files
from scheduler.weather.grids.public_models import Model, PublicModel, model_named, models
from scheduler.weather.grids.ranges import RangeFetcher
from tests.weather.grids import making
from tests.weather.grids.range_server import Store, serving

needs_extra = pytest.mark.skipif(
    importlib.util.find_spec("eccodes") is None, reason="the grids extra is not installed"
)
GRID = making.latlon(3, 3, 45.0, -94.0, 1.0)
SITE = Site("north end", 44.1, -93.2, 300.0, "America/Chicago")
NOW = datetime(2026, 11, 20, 9, 20, tzinfo=UTC)
RUN, BEFORE = datetime(2026, 11, 20, 6, tzinfo=UTC), datetime(2026, 11, 20, 0, tzinfo=UTC)
AIR, RAIN, HEIGHT = ((0, 0, 0), (103, 2)), ((0, 1, 8), (1, 0)), ((0, 3, 5), (1, 0))


def put(store: Store, run: datetime, lead: int, *, member: str = "", kelvin: float = 0.0) -> None:
    """Put one file and its inventory into the store."""
    how = {"member": (3, int(member[1:]))} if member else {}
    more = f"ENS=+{int(member[1:])}" if member else ""
    kelvin = kelvin or 270.0 + lead
    parts = [("TMP:2 m above ground", AIR, kelvin, {}), ("HGT:surface", HEIGHT, 250.0, {})]
    if lead:
        parts.append(("APCP:surface", RAIN, 1.5 * lead, {"since": 0}))
    content, lines = b"", []
    for label, what, value, when in parts:
        told = f"0-{lead} hour acc" if when else f"{lead} hour"
        lines.append(
            f"{len(lines) + 1}:{len(content)}:d={run:%Y%m%d%H}:{label}:{told} fcst:{more}"
        )
        content += making.field(run, GRID, [value] * 9, *what, lead=lead, **when, **how)
    name = f"/m.{run:%Y%m%d}/m{member}.t{run:%H}z.f{lead:03d}.grib2"
    store.files[name], store.files[f"{name}.idx"] = content, "\n".join(lines).encode()


@pytest.fixture
def store() -> Iterator[Store]:
    with serving() as one:
        for run in (BEFORE, RUN):
            for lead in range(4):
                put(one, run, lead, kelvin=280.0 if run == BEFORE else 0.0)
        yield one


def model(store: Store, **more: object) -> Model:
    return Model(
        name="made",
        title="a made model",
        url=store.address + "/m.{run:%Y%m%d}/m{member}.t{run:%H}z.f{lead:03d}.grib2",
        inventory=".idx",
        runs=(0, 6, 12, 18),
        leads=((0, 3, 1),),
        delay_h=2.0,
        age_limit_h=12.0,
        **more,  # type: ignore[arg-type]
    )


def source(store: Store, **more: object) -> PublicModel:
    fetcher = RangeFetcher(agent="closein", budget_s=20.0, sleep=lambda s: None)
    return PublicModel(model(store, **more), now=lambda: NOW, fetcher=fetcher)


@needs_extra
def test_what_is_fetched_is_what_the_files_say(store: Store, tmp_path: Path) -> None:
    one = source(store)
    got = one.parse(one.fetch(SITE))
    paths = []
    for lead in range(4):
        paths.append(tmp_path / f"{lead}.grib2")
        paths[-1].write_bytes(store.files[f"/m.20261120/m.t06z.f{lead:03d}.grib2"])
    want = read_grid_files(paths, SITE)
    assert got.table.start.tolist() == want.table.start.tolist()
    assert set(got.table.columns) == set(want.table.columns)
    for name, values in want.table.columns.items():
        assert np.array_equal(got.table.column(name), values, equal_nan=True)
    assert got.table.column("air_temperature_c") == pytest.approx(
        [-3.15, -2.15, -1.15, -0.15], abs=1e-3
    )
    assert got.table.column("precipitation_amount_mm")[:3] == pytest.approx([1.5] * 3, abs=2e-3)
    assert got.provenance.issued_at == RUN
    assert got.provenance.fetched_at == NOW
    assert got.provenance.source == "made"
    assert got.provenance.elevation_m == pytest.approx(250.0)
    assert got.provenance.findings == ()


@needs_extra
def test_the_ground_s_height_is_fetched_once(store: Store) -> None:
    source(store).fetch(SITE)
    height_at = len(making.field(RUN, GRID, [270.0] * 9, *AIR, lead=0))
    starts = {
        lead: [
            int(told.removeprefix("bytes=").split("-")[0])
            for path, told in store.asked
            if told and path.endswith(f"f00{lead}.grib2")
        ]
        for lead in (0, 1)
    }
    assert height_at in starts[0]
    assert height_at not in starts[1]
    assert len(starts[1]) == 2, "air and rain"


@needs_extra
def test_a_run_that_is_not_whole_yet_gives_way_to_the_one_before(store: Store) -> None:
    for ending in ("", ".idx"):
        del store.files[f"/m.20261120/m.t06z.f003.grib2{ending}"]
    one = source(store)
    got = one.parse(one.fetch(SITE))
    assert got.provenance.issued_at == BEFORE
    assert got.table.column("air_temperature_c") == pytest.approx([6.85] * 4, abs=1e-3)


@needs_extra
def test_a_file_that_is_missing_inside_a_run_is_a_gap_and_is_told(store: Store) -> None:
    del store.files["/m.20261120/m.t06z.f001.grib2"]
    one = source(store)
    got = one.parse(one.fetch(SITE))
    assert np.isnan(got.table.column("air_temperature_c")).tolist() == [False, True, False, False]
    rain = got.table.column("precipitation_amount_mm")
    assert rain[:3].sum() == pytest.approx(4.5, abs=2e-3), "the total since the start still counts"
    assert "f001.grib2: no such file" in got.provenance.findings[0].what


@needs_extra
def test_a_field_is_known_by_its_own_words_not_by_the_inventory(store: Store) -> None:
    name = "/m.20261120/m.t06z.f001.grib2"
    wrong = making.field(RUN, GRID, [310.0] * 9, (0, 0, 0), (1, 0), lead=1)
    store.files[name] = wrong + store.files[name][len(wrong) :]
    one = source(store)
    got = one.parse(one.fetch(SITE))
    assert np.isnan(got.table.column("air_temperature_c")[1])
    assert got.table.column("surface_temperature_c")[1] == pytest.approx(36.85, abs=1e-3)


@needs_extra
def test_members_of_many_files_become_the_leading_axis(store: Store) -> None:
    for lead in range(4):
        for number in (1, 2):
            put(store, RUN, lead, member=f"p{number:02d}", kelvin=270.0 + 10 * number)
    one = source(store, members=("p01", "p02"))
    got = one.parse(one.fetch(SITE))
    assert got.extras["members"] == ("member 1", "member 2")
    want = np.array([[6.85] * 4, [16.85] * 4])
    assert got.table.column("air_temperature_c") == pytest.approx(want, abs=1e-3)


def test_no_run_at_all_is_one_line(store: Store) -> None:
    store.files.clear()
    with pytest.raises(
        WeatherUnavailable, match=r"no whole run among 2026-11-20T06Z, "
    ) as refused:
        source(store).fetch(SITE)
    assert len(refused.value.lines()) == 1


@needs_extra
def test_a_site_off_the_grid_is_not_covered(store: Store) -> None:
    with pytest.raises(WeatherUnavailable, match="does not cover the site"):
        source(store).fetch(replace(SITE, latitude_deg=10.0))


@needs_extra
def test_kept_text_that_was_changed_is_refused_or_read_but_never_a_traceback(store: Store) -> None:
    kept = source(store).fetch(SITE)
    told = json.loads(kept)
    assert told["format"] == "closein-grid/1"
    assert len(kept) < 12_000, "a site's values, not the fields"
    for key in told:
        broken = {name: value for name, value in told.items() if name != key}
        with pytest.raises(Faults, match="closein-grid/1"):
            source(store).parse(json.dumps(broken).encode())


@given(st.binary(max_size=200))
def test_any_bytes_are_refused_in_one_line(raw: bytes) -> None:
    with pytest.raises(Faults) as refused:
        PublicModel(models()["hrrr"]).parse(raw)
    assert len(refused.value.lines()) == 1


EXAMPLES = {  # file names as the services' own pages and the recorded inventories show them
    ("hrrr", 2022101409, 5): "hrrr.20221014/conus/hrrr.t09z.wrfsfcf05.grib2",
    ("hrrr-quarter-hours", 2022101403, 9): "hrrr.20221014/conus/hrrr.t03z.wrfsubhf09.grib2",
    ("nbm", 2025090100, 1): "blend.20250901/00/core/blend.t00z.core.f001.co.grib2",
    ("gfs", 2022101406, 21): "gfs.20221014/06/atmos/gfs.t06z.pgrb2.0p25.f021",
    ("gefs-mean", 2025080100, 9): ("gefs.20250801/00/atmos/pgrb2sp25/geavg.t00z.pgrb2s.0p25.f009"),
    ("rap", 2026111206, 3): "rap.20261112/rap.t06z.awp130pgrbf03.grib2",
    ("nam-nest", 2026111206, 3): "nam.20261112/nam.t06z.conusnest.hiresf03.tm00.grib2",
    ("ecmwf", 2026051200, 24): "20260512/00z/ifs/0p25/oper/20260512000000-24h-oper-fc.grib2",
    ("ecmwf-ensemble", 2026051200, 24): (
        "20260512/00z/ifs/0p25/enfo/20260512000000-24h-enfo-ef.grib2"
    ),
}


@pytest.mark.parametrize(("name", "run", "lead"), EXAMPLES, ids=str)
def test_addresses_follow_the_public_naming(name: str, run: int, lead: int) -> None:
    moment = datetime.strptime(str(run), "%Y%m%d%H").replace(tzinfo=UTC)
    address = model_named(name).address(moment, lead, "")
    assert address.endswith("/" + EXAMPLES[name, run, lead])


def test_the_european_inventory_replaces_the_ending() -> None:
    one = model_named("ecmwf")
    assert one.inventory_of("https://x/20260512000000-24h-oper-fc.grib2") == (
        "https://x/20260512000000-24h-oper-fc.index"
    )


@pytest.mark.parametrize("name", models())
def test_every_row_names_runs_and_leads_that_exist(name: str) -> None:
    one = model_named(name)
    runs = one.newest_runs(NOW)
    assert runs == sorted(runs, reverse=True)
    assert all(run <= NOW for run in runs)
    for run in runs:
        leads = one.leads_of(run, 400)
        assert leads == sorted(set(leads))
        assert one.address(run, leads[-1], one.members[-1]).startswith("https://")
    assert set(one.long_runs) <= set(one.runs)


def test_an_unknown_model_is_refused_with_the_known_ones() -> None:
    with pytest.raises(BadInput, match="use one of hrrr, "):
        model_named("hrr")
