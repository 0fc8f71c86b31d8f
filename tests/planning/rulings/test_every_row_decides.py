"""Every row of every edition can decide: some input, told as people tell it, reaches and refuses.

Job file and log go through their own readers, the hours are a forecast, and the answer is that of
``closein today``. One test goes through the whole command.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest
import yaml

import scheduler.jobfile
from rules.book import Book, all_rows, editions, load_book
from rules.book_rows import Band, Row
from rules.quantities import weather_columns
from rules.verdict import KEYS, FloatArray, Verdict
from scheduler.cli import main
from scheduler.planning.calls.decide import decide
from scheduler.planning.evidence.known import known
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import Outcome, Span, TaskAnswer
from scheduler.planning.model.job import Job
from scheduler.planning.model.log import Progress
from scheduler.planning.rulings.rows import ruling
from scheduler.planning.rulings.ruling import Ruling
from scheduler.planning.tables.hours import Forecast, HourlyTable, Provenance
from tests.planning.rulings.situations import BACK_H, NOW, Situation, hours_ago, situations

SOAK = bool(os.environ.get("CLOSEIN_SOAK"))
LENGTH = timedelta(hours=4)
SKY: Final = (
    "air_temperature_c", "dew_point_temperature_c", "relative_humidity_pct", "wind_speed_ms",
    "wind_speed_of_gust_ms", "precipitation_amount_mm", "precipitation_probability_pct",
)  # fmt: skip


def job_text(work_type: str, told: Situation, edition: str) -> dict[str, Any]:
    before = [
        {"id": f"before-{kind.replace('_', '-')}", "work_type": kind, "duration_h": 4}
        for kind in told.finished_h
    ]
    here: dict[str, Any] = {"id": "here", "work_type": work_type, "duration_h": 4, **told.task}
    here["appointment"] = {"who": "crew", "at": "2026-11-09T07:00"}
    element = {"element": dict(told.element)} if told.element else {}
    return {
        "closein": 1, "name": "Made", "units": "us", "book": edition,
        "site": {"name": "Made", "latitude": 44.0, "longitude": -75.0, "elevation_ft": 300,
                 "time_zone": "America/New_York"},
        "hours": {"mon-sun": "07:00-17:00"}, "season_end": "2026-12-31",
        "tasks": [*before, {**here, **element}],
        "measures": {"on_hand": list(told.on_hand)},
    }  # fmt: skip


def job_of(work_type: str, told: Situation, edition: str) -> Job:
    text = yaml.safe_dump(job_text(work_type, told, edition))
    return scheduler.jobfile.parse(text.encode(), file="job.yaml")


def progress_of(job: Job, told: Situation) -> Progress:
    entries = [{"when": hours_ago(0.5), **entry} for entry in told.entries]
    entries += [
        {"kind": "finished", "task": f"before-{kind.replace('_', '-')}", "when": hours_ago(h)}
        for kind, h in told.finished_h.items()
    ]
    entries.sort(key=lambda entry: str(entry["when"]))
    return Progress(scheduler.jobfile.entries_of(entries, job=job, log=(), now=NOW))


def forecast_of(told: Situation) -> Forecast:
    return forecast(told.table())


def forecast(table: dict[str, FloatArray]) -> Forecast:
    first = int(NOW.timestamp() // 3600) - BACK_H
    hours = next(iter(table.values())).size
    start = np.datetime64(first, "h") + np.arange(hours) * np.timedelta64(1, "h")
    return Forecast(HourlyTable(start, table), Provenance("made", NOW, NOW))


OUTCOME: Final = {verdict: Outcome(key) for verdict, key in KEYS.items()}
EDITION: Final = {row.id: name for name in reversed(editions()) for row in load_book(name).rows}
Told = tuple[Job, Progress, Situation]


def gravest(row: Row) -> Band | None:
    return max(row.bands, key=lambda band: band.outcome, default=None)


def tried(row: Row, band: Band | None, edition: str) -> Iterator[Told]:
    """Yield what is told in each situation that is tried, on each kind of work it binds."""
    for work_type in row.work_types:
        kept: dict[str, tuple[Job, Progress]] = {}
        for one in situations(row, band):
            key = repr((one.element, one.entries, one.finished_h, one.task))
            if key not in kept:
                job = job_of(work_type, one, edition)
                kept[key] = job, progress_of(job, one)
            yield *kept[key], one


def said(row: Row, told: Told) -> Ruling | None:
    job, progress, one = told
    seen = known(job, forecast_of(one), None, progress, NOW)
    return ruling(Trial(seen, job.task("here"), Span(NOW, NOW + LENGTH)), row)


def answered(book: Book, told: Told) -> list[TaskAnswer]:
    job, progress, one = told
    answers = decide(job, forecast_of(one), None, progress, book, NOW)
    return [answer for answer in answers if answer.task == "here"]


def _decides(made: Ruling, band: Band) -> bool:
    """Tell whether a ruling is the band's; what a band asks and nobody has is no-go (law 5)."""
    lacking = bool(made.lacks) and made.outcome is Outcome.NO_GO
    return made.outcome is OUTCOME[band.outcome] or (lacking and bool(band.measures))


def refused(row: Row, edition: str) -> str:
    """Say what is wrong with a row's refusal; empty where the answer of the day tells it."""
    band = gravest(row)
    if band is None or band.outcome is Verdict.GO:
        reached = any(said(row, told) is not None for told in tried(row, band, edition))
        return "" if reached else f"{row.id}: nothing reaches it"
    for told in tried(row, band, edition):
        made = said(row, told)
        if made is not None and _decides(made, band):
            limits = [x for answer in answered(load_book(edition), told) for x in answer.limits]
            shown = any(x.rule == row.id and x.outcome is made.outcome for x in limits)
            plain = not row.quantity
            return "" if shown or plain else f"{row.id}: refuses and the answer does not tell it"
    return f"{row.id}: no value is seen to refuse"


@pytest.mark.soak
@pytest.mark.parametrize("edition", editions())
def test_a_refusing_value_put_to_every_row_is_seen_to_refuse(edition: str) -> None:
    rows = [row for row in load_book(edition).rows if SOAK or EDITION[row.id] == edition]
    assert [wrong for row in rows if (wrong := refused(row, edition))] == []


@pytest.mark.soak
@pytest.mark.parametrize("edition", editions())
def test_a_fitting_value_put_to_every_row_lets_go(edition: str) -> None:
    rows = [row for row in load_book(edition).rows if SOAK or EDITION[row.id] == edition]
    stays = []
    for row in rows:
        band = min(row.bands, key=lambda one: one.outcome, default=None)
        mildest = Outcome.GO if band is None else OUTCOME[band.outcome]
        each = (said(row, told) for told in tried(row, band, edition))
        if not any(made is None or made.outcome is mildest for made in each):
            stays.append(row.id)
    assert stays == []


def test_no_row_stands_outside_every_edition() -> None:
    assert {row.id for row in all_rows()[0]} == set(EDITION)


# The issue's own case, and its like, through the whole command


def today_of(folder: Path, told: Situation, work_type: str = "lay_block") -> dict[str, Any]:
    """Write what a builder would have, and return what the command says of the task."""
    job = job_text(work_type, told, "tms602-2016")
    (folder / "job.yaml").write_text(yaml.safe_dump(job), encoding="utf-8")
    own = {column: f"{stem} [{unit}]" for stem, (column, unit) in weather_columns().items()}
    table = {own[name]: values for name, values in told.table().items() if name in SKY}
    lines = [f"# issued_at: {NOW.isoformat()}", f"time,{','.join(table)}"]
    for hour, values in enumerate(zip(*table.values(), strict=True)):
        at = NOW + timedelta(hours=hour - BACK_H)
        lines.append(f"{at.isoformat()},{','.join(f'{v:.3f}' for v in values)}")
    (folder / "weather.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    entries = [{"when": hours_ago(0.1), **entry} for entry in told.entries]
    (folder / "log.yaml").write_text(yaml.safe_dump(entries), encoding="utf-8")
    at = ("--at", NOW.isoformat(), "--store", str(folder / "store.db"))
    log = ("log", str(folder / "job.yaml"), "--entries", str(folder / "log.yaml"), "--no-plan")
    ask = ("today", str(folder / "job.yaml"), "--weather", str(folder / "weather.csv"), "--json")
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main([*log, *at]) == 0
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main([*ask, *at]) == 0
    answer: dict[str, Any] = next(a for a in json.loads(out.getvalue())["tasks"])
    return answer


def read(quantity: str, value: float, unit: str) -> dict[str, Any]:
    return {"kind": "reading", "quantity": quantity, "value": value, "unit": unit}


COLD_KIT: Final = (
    "heat_mixing_water", "heat_sand", "weather_resistive_cover", "insulating_blankets",
)  # fmt: skip
CASES: Final = (  # what is read, the sky, whether it may go; TMS 602-16 1.8 C and 1.8 D
    ("mortar_temperature", 34.0, "degF", {"air_temperature_c": 2.5}, False),
    ("mortar_temperature", 50.0, "degF", {"air_temperature_c": 2.5}, True),
    ("mortar_temperature", 34.0, "degF", {"air_temperature_c": 10.0}, True),
    ("minutes_since_water", 130.0, "min", {"air_temperature_c": 38.5}, False),
    ("minutes_since_water", 130.0, "min", {"air_temperature_c": 25.0}, True),
)


@pytest.mark.parametrize(("quantity", "value", "unit", "columns", "goes"), CASES)
def test_a_reading_that_counts_in_some_weather_decides_in_it(
    tmp_path: Path, quantity: str, value: float, unit: str, columns: dict[str, float], goes: bool
) -> None:
    told = Situation(entries=(read(quantity, value, unit),), columns=columns, on_hand=COLD_KIT)
    answer = today_of(tmp_path, told)
    assert (answer["call"] in {"go", "go_with_protection"}) is goes, answer["reason"]


def test_where_nobody_knows_whether_a_reading_counts_it_is_not_known() -> None:
    """Law 4: the air of three hours of the work is a gap, the mortar too cold for cold weather."""
    told = Situation(entries=(read("mortar_temperature", 34.0, "degF"),))
    job = job_of("lay_block", told, "tms602-2016")
    table = told.table()
    table["air_temperature_c"][BACK_H : BACK_H + 3] = np.nan
    seen = known(job, forecast(table), None, progress_of(job, told), NOW)
    trial = Trial(seen, job.task("here"), Span(NOW, NOW + LENGTH))
    made = ruling(trial, load_book("tms602-2016").row("mortar.temperature"))
    assert made is not None
    assert made.outcome is Outcome.NOT_KNOWN
