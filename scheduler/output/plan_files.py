"""A plan written for other eyes and programs: bars, calendar feed, tables."""

from __future__ import annotations

from pathlib import Path

from scheduler.output.files import write_file
from scheduler.planning.model.job import Job
from scheduler.planning.plan.planned import Planned


def write_bars(path: Path, planned: Planned, job: Job) -> None:
    """Write the bar chart.

    Raises
    ------
    BadInput
        If the name ends in neither .png nor .svg, or the file cannot be written.
    """
    from scheduler.output.date_chart import format_of
    from scheduler.output.plan_chart import plan_chart  # the chart library is slow to import

    zero = planned.frame.hour_zero
    kind = format_of(path.name)
    chart = plan_chart(planned.answer, job, hours=planned.hourly, hour_zero=zero, kind=kind)
    write_file(path, chart)


def write_calendar(path: Path, planned: Planned, job: Job, before: str) -> str:
    """Write the calendar feed and return what it says, to be kept for the next one.

    Raises
    ------
    BadInput
        If the file cannot be written.
    """
    from scheduler.output.calendar_feed import calendar_feed, told_from, told_text

    feed, said = calendar_feed(planned.answer, job, told=told_from(before))
    write_file(path, feed)
    return told_text(said)


def write_tables(planned: Planned, job: Job, *, tasks: Path | None, network: Path | None) -> None:
    """Write the tables that are asked for.

    Raises
    ------
    BadInput
        If a file cannot be written.
    """
    from scheduler.output.schedule_exchange import network_csv, schedule_csv

    if tasks is not None:
        write_file(tasks, schedule_csv(planned.answer, job))
    if network is not None:
        write_file(network, network_csv(planned.answer, job))
