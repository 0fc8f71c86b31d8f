from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.book import Book, all_rows, editions, load_book
from rules.book_rows import Row
from rules.facts import band_index
from rules.grading import codes, fixed_conditions, is_by_hour, is_by_start, placed, window
from rules.judge import Asked, hour_verdicts, start_verdicts
from rules.quantities import si_unit
from rules.units import UNITS, convert
from rules.verdict import Verdict, VerdictArray
from rules.weather import Weather
from rules.words import words

HOURS = 72
US = load_book("tms602-2016")
MEASURES = sorted(words().measures)
WORK = st.sampled_from(sorted(words().work_types))
SOME = st.frozensets(st.sampled_from(MEASURES), max_size=12)
FACTS = st.fixed_dictionaries(
    {},
    optional={
        "task.grouted": st.booleans(),
        "grout.cement": st.sampled_from(["type_i_ii", "type_iii"]),
        "footing.section_thickness": st.sampled_from([(8.0, "in"), (20.0, "in"), (0.4, "m")]),
        "wall.braced": st.booleans(),
    },
)
SEEDS = st.integers(0, 2**32)


def sky(seed: int, *, gaps: float = 0.0) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(seed)
    hours = np.arange(HOURS)
    air = rng.uniform(-8, 9) + rng.uniform(0, 9) * np.sin((hours - 9) / 24 * 2 * np.pi)
    wind = rng.gamma(3, rng.uniform(0.5, 3), HOURS)
    columns = {
        "air_temperature_c": np.round(air + rng.normal(0, 1, HOURS), 1),
        "wind_speed_ms": np.round(wind, 1),
        "wind_speed_of_gust_ms": np.round(wind * rng.uniform(1.2, 2.0), 1),
        "relative_humidity_pct": rng.uniform(30, 100, HOURS).round(),
        "precipitation_amount_mm": np.where(rng.random(HOURS) < 0.15, rng.gamma(1, 2, HOURS), 0),
        "precipitation_probability_pct": rng.uniform(0, 100, HOURS).round(),
    }
    for values in columns.values():
        values[rng.random(HOURS) < gaps] = np.nan
    return columns


def verdicts(book: Book, asked: Asked, columns: dict[str, np.ndarray]) -> VerdictArray:
    weather = Weather(columns, HOURS)
    starts = start_verdicts(book, asked, weather, 5)
    return np.maximum(hour_verdicts(book, asked, weather), starts)


def only(book: Book, keep: object) -> Book:
    return replace(book, rows=tuple(row for row in book.rows if keep(row)))


def is_cold_side(row: Row) -> bool:
    warm = row.unit in UNITS and UNITS[row.unit][0] == "temperature"
    outcomes = [band.outcome for band in row.bands]
    return warm and outcomes == sorted(outcomes, reverse=True)


def is_windy_or_wet(row: Row) -> bool:
    return row.quantity.startswith(("wind_speed", "precipitation_amount"))


@given(SOME, FACTS)
@settings(max_examples=60)
def test_in_each_row_the_worse_side_is_never_milder_with_the_same_measures(
    to_be_had: frozenset[str], facts: dict[str, object]
) -> None:
    for row in all_rows()[0]:
        found = codes(row, Asked(row.work_types[0], facts, to_be_had)).tolist()
        if row.bands and is_cold_side(row):
            assert found == sorted(found, reverse=True), row.id
        elif is_windy_or_wet(row):
            assert found == sorted(found), row.id


@given(WORK, SOME, FACTS, SEEDS, st.floats(0, 15))
def test_colder_is_never_milder(
    work: str, to_be_had: frozenset[str], facts: dict[str, object], seed: int, colder: float
) -> None:
    book = only(US, is_cold_side)
    asked = Asked(work, facts, to_be_had)
    columns = sky(seed, gaps=0.02)
    before = verdicts(book, asked, columns)
    columns["air_temperature_c"] = columns["air_temperature_c"] - colder
    assert (verdicts(book, asked, columns) >= before).all()


@given(WORK, SOME, FACTS, SEEDS, st.floats(0, 15))
def test_windier_is_never_milder(
    work: str, to_be_had: frozenset[str], facts: dict[str, object], seed: int, more: float
) -> None:
    book = only(US, lambda row: row.name != "heat_index")
    asked = Asked(work, facts, to_be_had)
    columns = sky(seed, gaps=0.02)
    before = verdicts(book, asked, columns)
    for name in ("wind_speed_ms", "wind_speed_of_gust_ms"):
        columns[name] = columns[name] + more
    assert (verdicts(book, asked, columns) >= before).all()


@given(WORK, SOME, FACTS, SEEDS, st.floats(0, 15))
def test_wetter_is_never_milder(
    work: str, to_be_had: frozenset[str], facts: dict[str, object], seed: int, more: float
) -> None:
    asked = Asked(work, facts, to_be_had)
    columns = sky(seed, gaps=0.02)
    before = verdicts(US, asked, columns)
    columns["precipitation_amount_mm"] = columns["precipitation_amount_mm"] + more
    assert (verdicts(US, asked, columns) >= before).all()


@given(WORK, SOME, FACTS, SEEDS)
def test_a_missing_hour_is_never_go(
    work: str, to_be_had: frozenset[str], facts: dict[str, object], seed: int
) -> None:
    asked = Asked(work, facts, to_be_had)
    columns = sky(seed)
    rng = np.random.default_rng(seed)
    name = rng.choice(sorted(columns))
    gap = rng.integers(0, HOURS - 1)
    whole = Weather(dict(columns), HOURS)
    looks = [
        row
        for row in US.rows_for(work)
        if is_by_hour(row)
        and not (row.when or row.unless or row.only_advises)
        and row.name == name.rpartition("_")[0]
    ]
    columns[name] = columns[name].copy()
    columns[name][gap] = np.nan
    holed = Weather(columns, HOURS)
    after = hour_verdicts(US, asked, holed)
    if looks:
        assert after[gap] >= Verdict.NOT_KNOWN
    elsewhere = np.arange(HOURS) != gap
    before = hour_verdicts(US, asked, whole)
    assert (after[elsewhere] == before[elsewhere]).all()
    started = start_verdicts(US, asked, holed, 5)
    assert (started[started != start_verdicts(US, asked, whole, 5)] >= Verdict.NOT_KNOWN).all()


@given(WORK, SOME, FACTS, SEEDS, st.integers(1, HOURS - 1))
def test_splitting_a_series_changes_nothing(
    work: str, to_be_had: frozenset[str], facts: dict[str, object], seed: int, cut: int
) -> None:
    asked = Asked(work, facts, to_be_had)
    columns = sky(seed)
    parts = [
        hour_verdicts(US, asked, Weather({n: v[piece] for n, v in columns.items()}, size))
        for piece, size in ((slice(0, cut), cut), (slice(cut, None), HOURS - cut))
    ]
    whole = hour_verdicts(US, asked, Weather(columns, HOURS))
    assert (np.concatenate(parts) == whole).all()


@given(WORK, SOME, FACTS, SEEDS)
def test_an_unrelated_column_and_scenarios_beside_it_change_nothing(
    work: str, to_be_had: frozenset[str], facts: dict[str, object], seed: int
) -> None:
    asked = Asked(work, facts, to_be_had)
    columns = sky(seed, gaps=0.05)
    plain = verdicts(US, asked, columns)
    more = {**columns, "surface_air_pressure_pa": np.full(HOURS, np.nan)}
    assert (verdicts(US, asked, more) == plain).all()
    other = sky(seed + 1, gaps=0.05)
    both = {name: np.stack([columns[name], other[name]]) for name in columns}
    together = verdicts(US, asked, both)
    assert (together[0] == plain).all()
    assert (together[1] == verdicts(US, asked, other)).all()


def by_hand(row: Row, asked: Asked, columns: dict[str, np.ndarray], start: int, end: int) -> int:
    """Judge one window of one row without conditions, hour by hour, as a person would."""
    row = placed(row, asked)
    values = columns[row.quantity + {"a": "_c", "w": "_ms", "p": "_mm"}[row.quantity[0]]]
    reach = HOURS
    while reach and math.isnan(values[reach - 1]):
        reach -= 1
    low, high = (int(edge[0]) for edge in window(row, np.array([end]), np.array([start])))
    if row.seen_on_site:  # what the hours before the table left is seen before starting
        if high <= 0:
            return int(Verdict.GO)
        first = next((n for n, value in enumerate(values) if not math.isnan(value)), 0)
        low = min(max(low, first), high)
    if low < 0 or low >= reach:
        beyond_record = low < 0 and row.if_no_record == "check"
        return int(Verdict.GO if beyond_record else Verdict.NOT_KNOWN)
    seen = [float(v) for v in values[low : min(high, reach)]]
    whole = row.taken_as in {"mean", "midpoint"}
    if not seen or any(math.isnan(v) for v in seen) or (whole and high > reach):
        return int(Verdict.NOT_KNOWN)
    assert row.hours is not None
    first_day = high - math.ceil(max(row.hours.until.offset_h - row.must_reach_h, 0.0))
    ways = {
        "mean": lambda: sum(seen) / len(seen),
        "midpoint": lambda: (min(seen) + max(seen)) / 2,
        "min": lambda: min(seen),
        "max": lambda: max(seen),
        "sum": lambda: sum(seen),
    }
    outcomes = codes(row, asked)
    told = int(Verdict.GO if first_day <= reach else Verdict.NOT_KNOWN)  # law 4: the first 24 h
    return max(
        told,
        *(
            int(outcomes[band_index(convert(ways[way](), si_unit(row.unit), row.unit), row.bands)])
            for way in (row.taken_as, *row.also_taken_as)
        ),
    )


PLAIN_ROWS = [
    row
    for row in all_rows()[0]
    if is_by_start(row)
    and row.quantity in {"air_temperature", "wind_speed_of_gust", "precipitation_amount"}
    and not row.substitutes
    and row.taken_as != "duration"
    and not row.only_advises
]


@pytest.mark.parametrize("row", PLAIN_ROWS, ids=lambda row: row.id)
@given(SOME, SEEDS, st.integers(1, 20), st.sampled_from([0.0, 0.03]), st.integers(0, 20))
@settings(max_examples=15)
def test_windows_are_those_of_a_plain_loop(
    row: Row, to_be_had: frozenset[str], seed: int, length: int, gaps: float, tail: int
) -> None:
    book = Book("one", "one row", (row.model_copy(update={"when": (), "unless": ()}),))
    asked = Asked(row.work_types[0], {}, to_be_had)
    columns = sky(seed, gaps=gaps)
    for values in columns.values():
        values[HOURS - tail :] = np.nan
    assert fixed_conditions(book.rows[0], asked) is True
    found = start_verdicts(book, asked, Weather(columns, HOURS), length)
    expected = [by_hand(row, asked, columns, s, s + length) for s in range(HOURS)]
    assert found.tolist() == expected


@pytest.mark.parametrize("edition", editions())
def test_every_work_type_is_judged_in_every_edition(edition: str) -> None:
    book = load_book(edition)
    for work in words().work_types:
        asked = Asked(work)
        out = verdicts(book, asked, sky(1))
        assert out.shape == (HOURS,)
        assert set(np.unique(out)) <= set(map(int, Verdict))
