"""Every sheet of a job, each as a page and as a PDF."""

from __future__ import annotations

from scheduler.output.sheets.cold_plan import cold_plan
from scheduler.output.sheets.order_list import order_list
from scheduler.output.sheets.page import page
from scheduler.output.sheets.pdf import pdf
from scheduler.output.sheets.set_down import set_down
from scheduler.output.sheets.sheet import Sheet
from scheduler.output.sheets.temperature import temperature, temperature_csv
from scheduler.output.sheets.tomorrow import tomorrow
from scheduler.output.sheets.weather_days import weather_days
from scheduler.output.words import clock
from scheduler.planning.model.job import Job
from scheduler.planning.reports.sheet_parts import SheetParts


def all_sheets(job: Job, parts: SheetParts) -> tuple[Sheet, ...]:
    """Return the sheets that the job has something to say on."""
    hours = parts.forecast_age_h
    age = "age of the forecast not known" if hours is None else f"forecast {hours:.0f} h old"
    when = clock(parts.at, job.site.time_zone)
    under = f"{job.site.name}; as of {when}, {age}; book {job.book}"
    made = (
        tomorrow(job, parts, under=under),
        cold_plan(job, parts.book, under=under),
        set_down(job, parts, under=under),
        temperature(job, parts.records, at=parts.at, under=under),
        order_list(job, parts.orders, under=under),
        weather_days(job, parts.lost, under=under),
    )
    return tuple(sheet for sheet in made if sheet is not None)


def sheet_files(job: Job, parts: SheetParts) -> dict[str, str | bytes]:
    """Return each sheet as a page and as a PDF, and the temperatures as CSV too, by file name."""
    files: dict[str, str | bytes] = {}
    for sheet in all_sheets(job, parts):
        files[f"{sheet.name}.html"] = page(sheet)
        files[f"{sheet.name}.pdf"] = pdf(sheet, units=job.units)
    if parts.records:
        files["temperature.csv"] = temperature_csv(parts.records, units=job.units)
    return files
