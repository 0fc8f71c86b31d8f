"""The odds of the season for a reader."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from scheduler.output.words import day, number, words
from scheduler.planning.forecast.scenarios import FEWEST_YEARS
from scheduler.planning.forecast.weather_odds import PERCENTS
from scheduler.planning.model.job import Job
from scheduler.planning.reports.job_odds import JobOdds

ODDS_VERSION = "closein-odds/1"


def odds_table(found: JobOdds, job: Job) -> RenderableType:
    """Return freezes, dry days, planned windows and workable hours, each as a table."""
    said = f"Over {found.scenarios} scenarios on {found.years} past years; odds, not promise."
    parts: list[RenderableType] = [Text(said), *map(Text, found.notes)]
    parts += [Text(""), _freezes(found, job)]
    if found.dry:
        parts += [Text(""), _dry(found, job)]
    if found.limits:
        parts += [Text(""), _limits(found, job)]
    return Group(*parts, Text(""), _windows(found), Text(""), _left(found))


def odds_document(found: JobOdds, job: Job) -> dict[str, object]:
    """Return the same for ``--json``."""
    return {"version": ODDS_VERSION, "units": job.units, "odds": found}


def _table(*titles: str) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in titles:
        table.add_column(title, overflow="fold")
    return table


def _freezes(found: JobOdds, job: Job) -> Table:
    zone = job.site.time_zone
    if _few(found):
        weeks = [at for at, _ in found.freezes[0].years_by_week]
        table = _table("Night at or under, by", *(day(at, zone) for at in weeks))
        for row in found.freezes:
            counts = [_in_years(years, found) for _, years in row.years_by_week]
            table.add_row(number(row.at_c, "degC", job.units, zone), *counts)
        return table
    table = _table("First night at or under", *(f"in {p} %" for p in PERCENTS))
    for row in found.freezes:
        told = [row.days[p] for p in PERCENTS]
        days = ["not this season" if one is None else day(one, zone) for one in told]
        table.add_row(number(row.at_c, "degC", job.units, zone), *days)
    return table


def _dry(found: JobOdds, job: Job) -> Table:
    zone = job.site.time_zone
    table = _table("Dry days on end from", *(f"{row.length}" for row in found.dry))
    first = found.dry[0]
    for place, (at, _) in enumerate(first.from_day or first.years_from_day):
        cells = (
            f"{row.from_day[place][1]:.0%}"
            if row.from_day
            else _in_years(row.years_from_day[place][1], found)
            for row in found.dry
        )
        table.add_row(day(at, zone), *cells)
    return table


def _limits(found: JobOdds, job: Job) -> Table:
    names = {task.id: task.name for task in job.tasks}
    table = _table("Must begin", "not more than", "broken")
    for row in found.limits:
        since = "the start of " if row.from_start else ""
        told = f"{row.within_h:g} h after {since}{names[row.after]}"
        table.add_row(names[row.task], told, _often(row.broken, row.years_broken, found))
    return table


def _windows(found: JobOdds) -> Table:
    table = _table("Planned hours of", "hold")
    for row in found.windows:
        table.add_row(row.name, _unknown(row.not_known) or _often(row.chance, row.years, found))
    return table


def _left(found: JobOdds) -> Table:
    heads = ("work", "least", "most") if _few(found) else ("work", *(f"{p} %" for p in PERCENTS))
    table = _table("Workable hours left for", *heads)
    for row in found.left:
        told = list(row.hours.values()) or list(row.least_most or ())
        cells = [f"{hours:.0f}" for hours in told] or [_unknown(row.not_known)]
        table.add_row(row.task, words(row.work_type), *cells)
    return table


def _few(found: JobOdds) -> bool:
    return found.years < FEWEST_YEARS


def _often(share: float | None, years: int | None, found: JobOdds) -> str:
    return _in_years(years, found) if share is None else f"{share:.0%}"


def _in_years(years: int | None, found: JobOdds) -> str:
    return "not known" if years is None else f"in {years} of {found.years} years"


def _unknown(names: tuple[str, ...]) -> str:
    """Return what is not known; empty where all is."""
    named = ", ".join(words(name.rpartition("_")[0] or name) for name in names)
    return f"not known: {named}" if names else ""
