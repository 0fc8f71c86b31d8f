"""The temperature record for the inspector: twice a day at each place, gaps shown as gaps."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from rules.units import convert
from scheduler.output.csv_text import csv_text
from scheduler.output.sheets.sheet import Grid, Section, Sheet
from scheduler.output.words import clock, day, number
from scheduler.planning.model.job import Job
from scheduler.planning.reports.sheet_parts import TemperatureRecord
from scheduler.planning.strength.curing_sheet import SheetLine

NAME: Final = "temperature"
GAP: Final = "no reading"
HEADER: Final = ("Day", "Time", "Temperature", "Coldest since", "Air", "Read by")


def temperature(
    job: Job, records: Sequence[TemperatureRecord], *, at: datetime, under: str
) -> Sheet | None:
    """Return the record of each fresh work; None where there is none to keep.

    A time before ``at`` without a reading is a gap and is marked; a later one is room to write.
    """
    if not records:
        return None
    zone = job.site.time_zone
    sections = []
    for record in records:
        placed, until = clock(record.placed, zone), clock(record.until, zone)
        past = [line for line in record.lines if _over(line, at, zone)]
        missing = sum(line.temperature_c is None for line in past)
        said = f"Placed {placed}, protected until {until}."
        count = f"{missing} of {len(past)} times so far have no reading."
        sections.append(Section(record.name, lines=(said, count)))
        for place in dict.fromkeys(line.place for line in record.lines):
            own = [line for line in record.lines if line.place == place]
            sections.append(Section(place or "place not said", grid=_grid(job, own, at)))
    return Sheet(
        NAME, f"Temperature record: {job.name}", under, tuple(sections),
        cautions=("The coldest place counts; a gap is a gap and proves nothing.",),
        signs=("Read by, date", "Inspector, date"),
    )  # fmt: skip


def temperature_csv(records: Sequence[TemperatureRecord], *, units: str) -> str:
    """Return the record as CSV, every work in it; what was not read is written as such."""
    unit, sign = ("degF", "F") if units == "us" else ("degC", "C")
    header = ("work", "place", "date", "time", f"temperature_{sign}", f"coldest_since_{sign}")
    rows = (_csv_row(record, line, unit) for record in records for line in record.lines)
    return csv_text((*header, f"air_{sign}", "read_at_utc"), rows)


def _csv_row(record: TemperatureRecord, line: SheetLine, unit: str) -> tuple[str, ...]:
    values = (line.temperature_c, line.coldest_c, line.air_c)
    told = [GAP if v is None else f"{float(convert(v, 'degC', unit)):.1f}" for v in values]
    read = "" if line.read_at is None else line.read_at.strftime("%Y-%m-%dT%H:%MZ")
    clock_ = line.clock.strftime("%H:%M")
    return (record.name, line.place, line.day.isoformat(), clock_, *told, read)


def _grid(job: Job, lines: Sequence[SheetLine], at: datetime) -> Grid:
    zone = job.site.time_zone

    def value(celsius: float | None) -> str:
        return "" if celsius is None else number(celsius, "degC", job.units, zone)

    rows = tuple(
        (
            day(line.day, zone),
            line.clock.strftime("%H:%M"),
            value(line.temperature_c) or (GAP if _over(line, at, zone) else ""),
            value(line.coldest_c),
            value(line.air_c),
            "",
        )
        for line in lines
    )
    gaps = frozenset(
        n for n, line in enumerate(lines) if line.temperature_c is None and _over(line, at, zone)
    )
    return Grid(HEADER, rows, (4, 3, 4, 4, 3, 6), gaps)


def _over(line: SheetLine, at: datetime, zone: str) -> bool:
    return datetime.combine(line.day, line.clock, ZoneInfo(zone)) <= at
