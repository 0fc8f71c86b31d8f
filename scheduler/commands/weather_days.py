"""``closein weather-days``: which lost days count under the contract."""

from __future__ import annotations

from scheduler.commands.options import AsJson, Csv, Desk, of_a_job, show_or_dump


@of_a_job(weather="kept", without=("weather", "climate"))
def weather_days(desk: Desk, csv: Csv = None, as_json: AsJson = False) -> None:
    """Set lost days beside forecast, observation and contract; say which count, and why."""
    from scheduler.output.files import write_file
    from scheduler.output.weather_days_table import (
        weather_days_csv,
        weather_days_document,
        weather_days_table,
    )
    from scheduler.runs.weather_days import weather_day_record

    found = weather_day_record(desk)
    if csv is not None:
        write_file(csv, weather_days_csv(found, desk.job))
    show_or_dump(
        as_json,
        weather_days_document(found),
        lambda: weather_days_table(found, desk.job),
        desk.job.site.time_zone,
    )
