"""Limits of the book against the published rule, one line of the table each."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import numpy as np
import pytest

from rules.book import load_book
from rules.explain import Reason, reason_of
from rules.facts import Asked, Value
from rules.quantities import si_unit
from rules.units import UNITS, convert
from rules.verdict import KEYS
from rules.weather import Weather

with (Path(__file__).parent / "limits.csv").open(encoding="utf-8") as file:
    ROWS = list(csv.DictReader(file))

FAIR = {
    "air_temperature_c": 12.0,
    "wind_speed_ms": 2.0,
    "wind_speed_of_gust_ms": 3.0,
    "relative_humidity_pct": 50.0,
    "precipitation_amount_mm": 0.0,
}
COLUMN = {
    "air": "air_temperature_c",
    "wind": "wind_speed_ms",
    "gust": "wind_speed_of_gust_ms",
    "rain": "precipitation_amount_mm",
}
HOURS = 200
MEASURED = re.compile(r"^(-?[\d.]+)([a-zA-Z/%_0-9]+)$")


def measured(text: str) -> tuple[float, str] | None:
    found = MEASURED.match(text)
    return (float(found[1]), found[2]) if found and found[2] in UNITS else None


def facts(text: str) -> dict[str, Value]:
    out: dict[str, Value] = {}
    for pair in text.split():
        name, value = pair.split("=")
        plain: Value = {"true": True, "false": False}.get(value, value)
        out[name] = measured(value) or plain
    return out


def series(text: str) -> np.ndarray:
    """Read ``44*18+30*6degF``: the last value goes on to the end."""
    amounts = re.match(r"^(.*?)(degF|degC|mph|km/h|in)$", text)
    assert amounts is not None
    parts = [part.split("*") for part in amounts[1].split("+")]
    values = np.repeat([float(p[0]) for p in parts], [int(p[1]) if p[1:] else 1 for p in parts])
    padded = np.pad(values, (0, max(HOURS - values.size, 0)), mode="edge")[:HOURS]
    return np.asarray(convert(padded, amounts[2], si_unit(amounts[2])))


def weather(text: str) -> Weather:
    columns = {name: np.full(HOURS, value) for name, value in FAIR.items()}
    for pair in text.split():
        name, values = pair.split("=")
        columns[COLUMN[name]] = series(values)
    return Weather(columns, HOURS)


def check(want: str, reason: Reason, end: int) -> None:
    kind, _, rest = want.partition(":")
    asked = [name for ask in reason.measures for name in ask.measure]
    if kind == "measure":
        assert rest in asked
    elif kind == "any":
        assert any(set(ask.measure) == set(rest.split("|")) for ask in reason.measures)
    elif kind == "not":
        assert rest not in asked
    elif kind == "until":
        name, until = rest.split("=end+")
        ends = {a.until_h for a in reason.measures if name in a.measure}
        assert ends == {float(end + int(until))}
    elif kind == "target":
        check_target(rest, reason)
    elif kind == "value":
        way, value = rest.split("=")
        number = measured(value)
        assert number is not None
        assert (reason.taken_as, reason.row.unit) == (way, number[1])
        assert reason.value == pytest.approx(number[0], abs=0.01)
    elif kind == "given":
        name, value = rest.split("=")
        assert reason.row.given[name] == float(value)
    else:
        assert kind == "says"
        assert reason.band is not None
        assert reason.band.says == rest


def check_target(text: str, reason: Reason) -> None:
    name, bounds = text.split("=")
    found = re.match(r"^(-?[\d.]+?)\.\.(-?[\d.]*)(deg[FC])$", bounds)
    assert found is not None
    assert reason.band is not None
    (target,) = [t for t in reason.band.targets if t.what == name]
    low = target.at_least if target.at_least is not None else target.above
    assert (low, target.unit) == (float(found[1]), found[3])
    assert target.at_most == (float(found[2]) if found[2] else None)


@pytest.mark.parametrize("line", ROWS, ids=lambda r: f"{r['no']}-{r['row']}-{r['outcome']}")
def test_a_limit_matches_its_source(line: dict[str, str]) -> None:
    book = load_book(line["edition"])
    row = book.row(line["row"])
    assert line["work_type"] in row.work_types
    end = int(line["hours"])
    asked = Asked(line["work_type"], facts(line["facts"]))
    reason = reason_of(row, asked, weather(line["weather"]), 0, end)
    if line["outcome"] == "does_not_bind":
        assert reason is None or not reason.applies
        return
    assert reason is not None
    assert KEYS[reason.verdict] == line["outcome"]
    for want in line["wants"].split():
        check(want, reason, end)


def test_both_means_of_a_frontal_day_are_told() -> None:
    """18 h at 44 °F and 6 h at 30 °F: 40.5 °F by hours, 37.0 °F by high and low."""
    book = load_book("tms602-2016")
    row = book.row("masonry.cold.protect-plain")
    sky = weather("air=44*18+30*6degF")
    hours = sky.for_row(row)
    assert hours is not None
    edge = np.array([0]), np.array([24])
    by_way = {way: sky.taken("air", hours, way, *edge)[0] for way in ("mean", "midpoint")}
    told = {way: convert(float(value), "degC", "degF") for way, value in by_way.items()}
    assert told["mean"] == pytest.approx(40.5, abs=0.01)
    assert told["midpoint"] == pytest.approx(37.0, abs=0.01)


def test_the_zone_beside_an_eight_foot_wall_is_twelve_feet() -> None:
    row = load_book("tms602-2016").row("wall.unbraced-over-8-ft")
    assert 8.0 + row.given["zone_beyond_height_ft"] == 12.0
