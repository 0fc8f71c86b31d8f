"""The weather-day record for a reader, as CSV and as a document."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from scheduler.output.csv_text import csv_text
from scheduler.output.words import clock, day, number, words
from scheduler.planning.contract.weather_day_record import DayRow, DayWeather, WeatherDays
from scheduler.planning.model.job import Job

HEADER = (
    "Day", "Lost of", "Cause", "Work", "Critical", "Counts", "Why", "Forecast before", "Observed",
)  # fmt: skip
NO_ADVICE = (
    "No legal advice: this sets side by side what was written down. The contract's own words and "
    "the parties decide."
)
NOTICE = {"past": "PAST", "near": "within a week", "open": "open"}


def weather_days_table(found: Sequence[WeatherDays], job: Job) -> RenderableType:
    """Return each contract's days, the count and the notice date under them."""
    parts: list[RenderableType] = []
    for record in found:
        table = Table(box=None, pad_edge=False, header_style="bold")
        for title in HEADER:
            table.add_column(title, overflow="fold")
        for row in day_rows(record, job):
            table.add_row(*row)
        parts += [Text(f"Contract {record.contract.id}"), table]
        parts += [Text(line) for line in count_lines(record, job)]
    return Group(*parts, Text(NO_ADVICE))


def day_rows(record: WeatherDays, job: Job) -> list[tuple[str, ...]]:
    """Return the rows as people read them."""
    return [_row(row, job) for row in record.rows]


def count_lines(record: WeatherDays, job: Job) -> list[str]:
    """Return the count and the notice date in words."""
    zone = job.site.time_zone
    counts = f"{record.counted} days count, {record.anticipated} were anticipated"
    lines = [f"{counts}, {record.beyond} beyond."]
    if record.first_beyond is not None:
        lines.append(f"First day beyond: {day(record.first_beyond, zone)}.")
    if record.notice_by is not None:
        by = day(record.notice_by, zone)
        lines.append(f"Notice of it by {by}: {NOTICE[record.notice]}.")
    return lines


def weather_days_csv(found: Sequence[WeatherDays], job: Job) -> str:
    """Return the rows of every contract as CSV."""
    rows = [(r.contract.id, *row) for r in found for row in day_rows(r, job)]
    return csv_text(("Contract", *HEADER), rows)


def weather_days_document(found: Sequence[WeatherDays]) -> dict[str, object]:
    """Return the documented JSON."""
    return {
        "version": "closein-weather-days/1",
        "contracts": [
            {
                "contract": record.contract.id,
                "counted": record.counted,
                "anticipated": record.anticipated,
                "beyond": record.beyond,
                "first_beyond": record.first_beyond,
                "notice_by": record.notice_by,
                "notice": record.notice,
                "days": [_document(row) for row in record.rows],
            }
            for record in found
        ],
    }


def _document(row: DayRow) -> dict[str, object]:
    return {
        "date": row.record.day,
        "scheduled_h": row.record.scheduled_h,
        "lost_h": row.record.lost_h,
        "cause": row.record.cause,
        "tasks": list(row.record.tasks),
        "critical": row.record.critical,
        "counted": row.line.counted,
        "why": row.line.why,
        "counted_so_far": row.counted_so_far,
        "beyond": row.beyond,
        "written_down": dict(row.record.measured),
        "forecast": row.forecast,
        "observed": row.observed,
    }


def _row(row: DayRow, job: Job) -> tuple[str, ...]:
    names = {task.id: task.name for task in job.tasks}
    work = ", ".join(names.get(task, task) for task in row.record.tasks) or "all"
    return (
        day(row.record.day, job.site.time_zone),
        f"{row.record.lost_h:g} of {row.record.scheduled_h:g} h",
        words(row.record.cause),
        work,
        "yes" if row.record.critical else "no",
        ("yes, beyond" if row.beyond else "yes") if row.line.counted else "no",
        row.line.why,
        _weather(row.forecast, job),
        _weather(row.observed, job) if row.observed else _told(row),
    )


def _told(row: DayRow) -> str:
    told = {k: v for k, v in row.record.measured.items() if k not in {"critical", "note"}}
    if not told:
        return "not given"
    return "written down: " + ", ".join(f"{words(key)} {value}" for key, value in told.items())


def _weather(told: DayWeather | None, job: Job) -> str:
    if told is None:
        return "none kept"
    zone = job.site.time_zone
    parts = [
        f"{name} {number(value, unit, job.units, zone)}"
        for name, value, unit in (
            ("rain", told.rain_mm, "mm"),
            ("low", told.low_c, "degC"),
            ("gust", told.gust_ms, "m/s"),
        )
        if value is not None
    ]
    said = ", ".join(parts) or "the day is not whole in it"
    issued = f", issued {clock(told.issued_at, zone)}" if told.issued_at else ""
    return f"{said} ({told.source}{issued})"
