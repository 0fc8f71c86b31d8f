"""``closein weather-days``: which lost days count under the contract."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from scheduler.commands.options import AsJson, At, JobFile, Observed, Store, show_or_dump


def weather_days(
    job: JobFile,
    observed: Observed = None,
    at: At = None,
    store: Store = None,
    csv: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Also write it as CSV.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Set lost days beside forecast, observation and contract; say which count, and why."""
    from scheduler.output.weather_days_table import (
        weather_days_csv,
        weather_days_document,
        weather_days_table,
    )
    from scheduler.runs.weather_days import weather_day_record
    from scheduler.startup import Options, open_desk, write_text

    desk = open_desk(Options(job, "kept", observed, None, at, store))
    found = weather_day_record(desk)
    if csv is not None:
        write_text(csv, weather_days_csv(found, desk.job))
    show_or_dump(
        as_json,
        weather_days_document(found),
        lambda: weather_days_table(found, desk.job),
        desk.job.site.time_zone,
    )
