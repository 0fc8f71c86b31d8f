"""A draft as a job file: YAML with comments, every key as JOBFILE.md has it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import Final

from rules.amounts.blocks import FOOT_M
from scheduler.newjob.draft import draft
from scheduler.newjob.numbers import Numbers
from scheduler.newjob.order_units import ordered
from scheduler.newjob.questions import KINDS, Kind
from scheduler.newjob.step import Step
from scheduler.newjob.takeoff import takeoff

PLAIN: Final = re.compile(r"[A-Za-z_][A-Za-z0-9_. ()/-]*[A-Za-z0-9_.)]|[A-Za-z]")
# What YAML 1.1 or 1.2 reads as something else than a text.
RESERVED: Final = {"yes", "no", "on", "off", "true", "false", "null", "y", "n"}
WIDTH: Final = 96
ON_HAND: Final = (
    "weather_resistive_cover", "cover_wall_top", "insulating_blankets", "rain_cover_on_site",
    "heat_mixing_water", "heat_sand", "keep_mortar_above_freezing", "measure_wind_at_wall",
    "wind_watch", "restricted_zone", "roll_pressure", "warm_cartridges", "dry_surface",
    "brace_wall", "temperature_log",
)  # fmt: skip
CAUTION: Final = """\
# Raised houses, wet masonry, heaters in enclosures (carbon monoxide, fire), wind on fresh walls,
# ice and silica dust hurt people. Local codes, the engineer of record and licensed trades decide;
# this file only puts their work in order."""


def job_text(n: Numbers, given: Mapping[str, str]) -> str:
    """Return the job file; ``given`` are the answers, kept in it word for word."""
    return "\n".join(_lines(n, given)) + "\n"


def _lines(n: Numbers, given: Mapping[str, str]) -> Iterator[str]:
    steps = draft(n)
    yield f"# {n.name}: {KINDS[n.kind]}."
    yield "# Made from a few numbers, see built_from. Look every line over: hours are first"
    yield "# guesses, the place, people and papers are yours to set. JOBFILE.md tells each key."
    yield from CAUTION.splitlines()
    yield "closein: 1"
    yield f"name: {scalar(n.name)}"
    yield from _site(n)
    yield from _people(n)
    yield from _measures()
    yield "tasks:"
    section = ""
    for step in steps.steps:
        if step.section != section:
            section = step.section
            yield f"  # {section}"
        yield from _task(step)
    yield from _documents(steps.documents)
    yield from _exposure(n)
    yield from _orders(n)
    yield "# What `closein new` was told; `closein amounts` counts from it again."
    yield "built_from:"
    for key, value in given.items():
        yield f"  {key}: {json.dumps(value, ensure_ascii=False)}"


def _site(n: Numbers) -> Iterator[str]:
    yield "# The weather is that of this place; a valley is colder than its ridge."
    yield "site:"
    yield f"  name: {scalar(n.place)}"
    yield f"  latitude: {n.latitude}"
    yield f"  longitude: {n.longitude}"
    unit, size = ("ft", FOOT_M) if n.units == "us" else ("m", 1.0)
    yield f"  elevation_{unit}: {round(n.elevation / size, 1):g}"
    yield f"  time_zone: {n.time_zone}"
    yield "  exposure: open  # open, sheltered or exposed to wind"
    yield f"units: {n.units}"
    yield "book: tms602-2016  # the edition that your code adopts; `closein rules` lists them"
    yield "confidence: 0.9"
    yield f"season_end: {n.season_end}"


def _people(n: Numbers) -> Iterator[str]:
    yield "hours:"
    yield '  mon-fri: "07:00-16:00"'
    yield "  sat: off"
    yield "  sun: off"
    yield "# days_off: [2026-11-26]"
    yield "# size: tasks a crew does at the same time; its people are in the hours of each task."
    yield "crews:"
    names = [("masons", "Masons and tenders"), ("carpenters", "Carpenters")]
    if n.kind is not Kind.REPAIR:
        names.append(("digger", "Excavator"))
    if n.lifts:
        names.append(("lifter", "House lifter"))
    for crew, name in names:
        yield f"  - {{id: {crew}, name: {name}, size: 1}}"


def _measures() -> Iterator[str]:
    yield "measures:"
    yield "  on_hand:  # strike out what will not be on site"
    for name in ON_HAND:
        yield f"    - {name}"
    yield "  can_be_had:"
    yield "    - {measure: heat_grout, notice_h: 20, from: grout_supplier}"
    yield "    - {measure: heated_enclosure, notice_h: 24, from: rental_yard}"


def _task(step: Step) -> Iterator[str]:
    if step.note:
        yield f"  # {step.note}"
    yield f"  - id: {step.id}"
    yield f"    name: {scalar(step.name)}"
    yield f"    work_type: {step.work_type}"
    if "quantity" not in step.more:
        yield f"    duration_h: {step.hours:g}"
    yield f"    crew: {step.crew}"
    if step.after:
        yield from _keyed("after", list(step.after))
    if step.may_pause:
        yield "    may_pause: true"
    if step.holds:
        yield "    holds:"
        for hold in step.holds:
            yield f"      - {flow({'by': list(hold.by), 'needs': hold.needs})}"
    for key, value in step.more.items():
        yield from _keyed(key, value)


def _keyed(key: str, value: object) -> Iterator[str]:
    line = f"    {key}: {flow(value)}"
    if len(line) <= WIDTH or not isinstance(value, list):
        yield line
        return
    yield f"    {key}:"
    for item in value:
        yield f"      - {flow(item)}"


def _documents(papers: Sequence[Mapping[str, object]]) -> Iterator[str]:
    if not papers:
        return
    yield "# What others ask: times of notice to be checked with each of them."
    yield "documents:"
    for paper in papers:
        for number, (key, value) in enumerate(paper.items()):
            lead = "  - " if number == 0 else "    "
            if isinstance(value, list) and value and isinstance(value[0], Mapping):
                yield f"{lead}{key}:"
                for item in value:
                    yield f"      - {flow(item)}"
            else:
                yield f"{lead}{key}: {flow(value)}"


def _exposure(n: Numbers) -> Iterator[str]:
    if n.kind is Kind.REPAIR:
        return
    yield "# How much weather the open house may take. JOBFILE.md has further limits: wood, frost"
    yield "# in the ground, gusts that the engineer allows."
    yield "exposure:"
    if n.units == "us":
        yield "  indoor_freezing_f: 32"
        yield "  indoor_start_f: 50"
    else:
        yield "  indoor_freezing_c: 0"
        yield "  indoor_start_c: 10"
    yield "  time_constant_h: 10  # hours the open house holds heat, from memory"
    yield "# Under which chance of closing in work stops for the winter; who is called at night;"
    yield "# what a day costs. Take the marks out and fill in: what has no price is not counted."
    yield "# stop_under: 0.5"
    yield "# on_call:"
    yield "#   - {name: ..., phone: ..., evenings: [fri, sat, sun]}"
    yield "# costs:"
    yield "#   rented:"
    yield "#     - {id: cribbing, for_tasks: [raise, lower], per_day: ...}"
    yield "#   daily:"
    yield "#     - {what: room elsewhere, per_day: ...}"
    yield "#   heat_per_kwh: ...  # counts with exposure.heat_w_per_k"
    yield "#   temporary_closing: {once: ..., per_day: ...}  # counts with exposure.openings"
    yield "# `closein levers` ranks what would buy days by its price: of a crew another_per_day,"
    yield "# saturday_extra_per_hour, overtime_extra_per_hour; of an appointment other_date_fee;"
    yield "# of a task with not_before sooner_fee."


def _orders(n: Numbers) -> Iterator[str]:
    lines = takeoff(n)
    if not lines:
        return
    yield "# What is bought or hired, waste in it. `closein orders` says by which day to order."
    yield "orders:"
    for line in lines:
        if line.key in {"corners", "bars", "dowels", "beam_bars"}:
            continue  # counted in other lines
        amount, unit = ordered(line, n.units)
        yield "  - " + flow(
            {
                "what": line.what,
                "amount": amount,
                "unit": unit,
                "for_task": line.for_task,
                "lead_days": line.lead_days,
            }
        )


def flow(value: object) -> str:
    """Return a value as YAML on one line."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{key}: {flow(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(flow(item) for item in value) + "]"
    return scalar(value)


def scalar(value: object) -> str:
    """Return a single value as YAML, quoted where a plain one would be read as something else."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return f"{value:g}"
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%dT%H:%M")
    if isinstance(value, date):
        return value.isoformat()
    text = str(value)
    if PLAIN.fullmatch(text) and text.lower() not in RESERVED:
        return text
    return json.dumps(text, ensure_ascii=False)
