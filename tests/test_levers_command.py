"""``closein levers`` on the made job: alone, two by two, priced, and what must hold of them."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from scheduler.cli import main
from tests.demo_job import DEMO, demo_job, moved_demo_job
from tests.mild_weather import mild_forecast, mild_years

COMMON = ["--weather", str(DEMO / "forecast.json"), "--climate", str(DEMO / "climate.csv")]
AT = ["--at", "2026-11-09T06:00"]
FREE = "house lifter free to come as soon as Lower the house can begin"
LONGER = "each day 2 hours longer"
SATURDAYS = "Saturdays worked, 07:00-16:00"
PRICES = ("another_per_day", "saturday_extra", "overtime_extra", "other_date_fee")


def found(
    job: Path, capsys: pytest.CaptureFixture[str], *more: str
) -> tuple[dict[str, Any], dict[str, dict[str, Any]]]:
    assert main(["levers", str(job), *COMMON, *AT, *more, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    return document, {row["what"]: row for row in document["levers"]}


def without_prices(folder: Path) -> Path:
    job = demo_job(folder)
    lines = job.read_text(encoding="utf-8").splitlines(keepends=True)
    kept = [line for line in lines if not line.strip().startswith(PRICES)]
    assert len(kept) < len(lines)
    job.write_text("".join(kept), encoding="utf-8")
    return job


def test_levers_alone_and_two_by_two(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = demo_job(tmp_path)
    _, alone = found(job, capsys, "--pairs", "0")
    document, with_pairs = found(job, capsys, "--pairs", "2")
    assert alone.keys() <= with_pairs.keys()
    together = with_pairs.keys() - alone.keys()
    assert len(together) == 1
    (pair,) = together
    one, other = pair.split(", and ")
    assert {one, other} <= alone.keys()
    best = max(alone[one]["chance_gain"], alone[other]["chance_gain"])
    assert with_pairs[pair]["chance_gain"] >= best - 0.03  # the draw of 144 scenarios
    assert document["currency"] == "$"


def test_levers_stand_in_the_order_of_days_for_the_money(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The lifter's fee is 300, paid once. Nobody said what his own hours cost."""
    document, rows = found(demo_job(tmp_path), capsys, "--pairs", "3")
    free = rows[FREE]
    assert free["cost"] == 300.0
    assert free["days_gained"] >= 3.0  # he comes on Monday the 30th, long after he could
    assert free["cost_per_day_gained"] == pytest.approx(300.0 / free["days_gained"])
    assert free["price"][0]["unit"] == "once"
    assert f"{LONGER}, and {SATURDAYS}" in rows  # whichever is longer
    priced = [row["cost_per_day_gained"] for row in document["levers"] if row["cost"] is not None]
    each = [one for one in priced if one is not None]
    assert priced == [*sorted(each), *[None] * (len(priced) - len(each))]
    assert [row["cost"] is None for row in document["levers"]] == sorted(
        row["cost"] is None for row in document["levers"]
    )
    for row in document["levers"]:
        if row["cost"] is None:
            hours = ("saturday", "overtime")
            assert set(row["not_priced"]) <= {
                f"House lifter: {one}_extra_per_hour" for one in hours
            }
            assert row["not_priced"]
        else:
            assert row["cost"] == pytest.approx(sum(line["total"] for line in row["price"]))
            assert row["not_priced"] == []
        assert row["saves"] == pytest.approx(sum(line["total"] for line in row["saved"]))
    saturday = {line["what"]: line["price"] for line in rows[SATURDAYS]["price"]}
    assert saturday == {"Block crew on Saturdays": 60.0, "Carpenters on Saturdays": 40.0}


def test_without_prices_the_order_is_that_of_the_chance(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = without_prices(tmp_path)
    document, rows = found(job, capsys)
    assert {row["cost"] for row in rows.values()} == {None}
    gains = [(row["chance_gain"], row["days_gained"]) for row in document["levers"]]
    assert gains == sorted(gains, reverse=True)
    assert main(["levers", str(job), *COMMON, *AT]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "price not given" in text
    assert "lower: appointment.other_date_fee" in text
    assert "Block crew: overtime_extra_per_hour" in text


def in_october(folder: Path, *, enclosure: str) -> tuple[Path, list[str]]:
    """Return the made job four weeks sooner, nothing booked, no blankets; a week of 7 °C."""
    morning = datetime(2026, 10, 12)  # noqa: DTZ001 - local, as job files write it
    weather, years = mild_forecast(folder, "2026-10-12T00:00:00-04:00"), mild_years(folder)
    told = weather.read_text(encoding="utf-8").replace("16.0", "7.0")
    weather.write_text(told.replace('"values": 8.0', '"values": 2.0'), encoding="utf-8")
    job = moved_demo_job(
        folder, latitude=44.31, longitude=-75.12, zone="America/New_York", morning=morning
    )
    text = job.read_text(encoding="utf-8")
    visit, rest = text.index("    appointment:"), text.index("  - id: pockets")
    out = ("measure: heated_enclosure", "not_before", "- insulating_blankets")
    lines = (text[:visit] + text[rest:]).splitlines(keepends=True)
    text = "".join(line for line in lines if not any(word in line for word in out))
    priced = f"costs:\n  heated_enclosure: {enclosure}\n"
    job.write_text(text.replace("costs:\n", priced), encoding="utf-8")
    at = ["--at", "2026-10-12T06:00", "--weather", str(weather), "--climate", str(years)]
    return job, at


def test_an_enclosure_that_is_not_offered_is_priced_with_fuel_and_carries_its_cautions(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Grout and beam pockets, five hours each and a week after: 173 h, eight days begun, twice.

    In one scenario in a hundred the laying falls below 20 °F and needs it too (TMS 602 1.8 C.3).
    """
    monkeypatch.delenv("CLOSEIN_SCENARIOS")
    job, at = in_october(tmp_path, enclosure="{per_day: 190, fuel_per_day: 60, once: 250}")
    assert main(["levers", str(job), *at, "--pairs", "0", "--json"]) == 0
    rows = {row["what"]: row for row in json.loads(capsys.readouterr().out)["levers"]}
    enclosure = rows["heated enclosure over fresh work"]
    totals = [line["total"] for line in enclosure["price"]]
    assert totals == pytest.approx([16 * 190.0, 16 * 60.0, 2 * 250.0], rel=0.005)
    assert enclosure["cost"] == pytest.approx(sum(totals))
    assert all(line >= least for line, least in zip(totals, (3040.0, 960.0, 500.0), strict=True))
    assert enclosure["days_gained"] > 1.0  # the bare wall waits for its strength at 7 °C
    assert main(["levers", str(job), *at, "--pairs", "0"]) == 0
    assert "heater near sheets" in capsys.readouterr().out


def test_where_there_is_no_plan_nothing_is_tried_and_that_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The made job without its enclosure: in November its grout would freeze."""
    job = demo_job(tmp_path)
    lines = job.read_text(encoding="utf-8").splitlines(keepends=True)
    text = "".join(line for line in lines if "measure: heated_enclosure" not in line)
    job.write_text(text, encoding="utf-8")
    assert main(["levers", str(job), *COMMON, *AT]) == 0
    assert "there is no plan to try anything on" in capsys.readouterr().out


def test_what_is_priced_and_cannot_be_tried_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = demo_job(tmp_path)
    more = "costs:\n  temporary_closing: {once: 350}\n"
    more += "  heated_enclosure: {per_day: 190, fuel_per_day: 60}\n"
    job.write_text(job.read_text(encoding="utf-8").replace("costs:\n", more), encoding="utf-8")
    document, _ = found(job, capsys, "--pairs", "0")
    assert len(document["not_tried"]) == 2
    assert "exposure.openings" in document["not_tried"][1]


@pytest.mark.parametrize(
    ("stands", "instead", "said"),
    [
        ("other_date_fee: 300", "other_date_fee: -1", "other_date_fee is '-1'"),
        ("another_per_day: 760", "another_per_day: 760\n    another_per_hour: 95", "keep one"),
        ("    not_before: 2026-11-23\n", "    sooner_fee: 90\n", "say not_before too"),
        ("costs:\n", "costs:\n  temporary_closing: {}\n", "give once or per_day"),
        ("costs:\n", "costs:\n  heated_enclosure: {per_day: 190}\n", "fuel_per_day is missing"),
        ("saturday_extra_per_hour: 40", "saturday_extra: 40", "saturday_extra_per_hour?"),
    ],
)
def test_a_price_that_says_nothing_is_one_line(
    stands: str, instead: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = demo_job(tmp_path)
    text = job.read_text(encoding="utf-8")
    assert text.count(stands) == 1
    job.write_text(text.replace(stands, instead), encoding="utf-8")
    assert main(["check", str(job)]) == 2
    err = capsys.readouterr().err
    assert said in err
    assert len(err.splitlines()) == 1


def test_without_past_years_no_lever_is_tried(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["levers", str(demo_job(tmp_path)), *COMMON[:2], *AT]) == 0
    assert "give --climate FILE" in capsys.readouterr().out
