"""What is known at the moment of asking: weather hours, readings, facts, papers, daylight."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.planning.evidence.facts import Evidence, TaskFacts, evidence
from scheduler.planning.evidence.observed_then_forecast import Series, lay
from scheduler.planning.evidence.read_weather import laid_into, weather_read
from scheduler.planning.evidence.releases import known_by
from scheduler.planning.evidence.wall_model import WallModel
from scheduler.planning.model.answer import Span
from scheduler.planning.model.job import Document, Job, Task
from scheduler.planning.model.log import Entry, Fact, Progress, Reading
from scheduler.planning.model.means import on_site_from
from scheduler.planning.model.standing import Standing, standings
from scheduler.planning.tables.hours import Forecast

EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
Sun = Callable[[date], tuple[datetime | None, datetime | None]]


@dataclass(frozen=True, slots=True)
class View:
    """One way to see the coming hours: the newest forecast, another source, the site's record."""

    name: str  # "", or what sets it apart: a source, "site"
    hours: Mapping[str, Series]
    source: str = ""
    issued_at: datetime | None = None
    stale: bool = False


@dataclass(frozen=True, slots=True)
class Known:
    """Everything a decision may look at; nothing in it is later than ``now``."""

    job: Job
    now: datetime
    zone: ZoneInfo
    view: View  # the newest forecast on top of what was observed
    evidence: Evidence  # what is known of each task, by the names of rows
    others: tuple[View, ...] = ()  # fresh forecasts of other sources, the site's correction
    before: View | None = None  # the forecast before the newest, same source
    newest: Forecast | None = None
    facts: tuple[Fact, ...] = ()
    readings: tuple[Reading, ...] = ()
    entries: tuple[Entry, ...] = ()
    sun: Mapping[date, tuple[datetime | None, datetime | None]] = field(default_factory=dict)
    standing: Mapping[str, Standing] = field(default_factory=dict)  # how far each task is
    earliest: Mapping[str, datetime] = field(default_factory=dict)  # starts that a plan allows
    there: Mapping[str, datetime] = field(default_factory=dict)  # from when measures are on site
    strength: WallModel | None = None  # None: nothing that it judges
    told: tuple[Forecast, ...] = ()  # every forecast by now as it was read, oldest first
    observed: Forecast | None = None
    # Found once and shared by every view: links lead back to the same tasks along many ways.
    begins: dict[str, tuple[datetime, str]] = field(default_factory=dict, compare=False)
    # When open tasks can be under way by their own answers; None: no start is known of.
    decided: dict[str, Span | None] = field(default_factory=dict, compare=False)
    made: dict[tuple[str, ...], TaskFacts] = field(default_factory=dict, compare=False)

    def seen_as(self, view: View) -> Known:
        """Return the same knowledge with another view of the coming hours."""
        return replace(self, view=view)

    def as_of(self, release: Entry) -> Known | None:
        """Return the same hours as they were seen at a release; None: no forecast yet."""
        moment, entries = release.at, known_by(self.entries, release)
        by_then = [forecast for forecast in self.told if _told(forecast, moment)]
        if not by_then:
            return None
        last = by_then[-1]
        same = [f for f in by_then if f.provenance.source == last.provenance.source]
        read = weather_read(self.job, entries, moment)
        *older, newest = (laid_into(f, read) for f in same)
        observed = None if self.observed is None else laid_into(self.observed, read)
        view = _view("then", newest, older, observed, self.now, self.zone)
        return replace(
            self,
            view=replace(view, stale=False),
            evidence=evidence(self.job, entries, self.standing, moment),
            readings=tuple(r for r in self.readings if (reading_time(r) or moment) <= moment),
            facts=tuple(f for f in self.facts if f.at is None or f.at <= moment),
            made={},
        )

    # facts and readings

    def facts_of(self, task: Task) -> TaskFacts:
        """Return what is known of a task by the names of rows, in hours since 1970."""
        key = (task.id, task.work_type, task.place, task.beside)
        if key not in self.made:
            self.made[key] = self.evidence.of(task, EPOCH)
        return self.made[key]

    def all_facts(self, element: str, condition: str) -> list[Fact]:
        """Return the newest fact for each element and place that fits; ``*`` is any element."""
        newest: dict[tuple[str, str], Fact] = {}
        for f in self.facts:
            if element in ("*", f.element) and f.condition == condition:
                newest[(f.element, f.place)] = f
        return list(newest.values())

    def past_readings(self, quantity: str) -> list[Reading]:
        """Return every reading of a quantity, oldest first."""
        found = [r for r in self.readings if r.quantity == quantity]
        return sorted(found, key=lambda r: reading_time(r) or self.now)

    # papers

    def documents_for(self, task: Task) -> list[Document]:
        """Return the documents that name the task, or that its label names."""
        return [d for d in self.job.documents if task.id in d.for_tasks or d.id == task.label]

    def sunset(self, day: date) -> datetime | None:
        """Return sunset of a local day, None where the sun does not set or nobody knows."""
        return self.sun.get(day, (None, None))[1]

    def sunrise(self, day: date) -> datetime | None:
        """Return sunrise of a local day."""
        return self.sun.get(day, (None, None))[0]

    def local_day(self, moment: datetime) -> date:
        """Return the day at the site."""
        return moment.astimezone(self.zone).date()


def reading_time(reading: Reading) -> datetime | None:
    """Return when a reading was taken; the end of a reading over a span."""
    return reading.at or reading.end


def known(
    job: Job,
    forecast: Forecast | None,
    observed: Forecast | None,
    progress: Progress,
    now: datetime,
    *,
    previous: Sequence[Forecast] = (),
    sun: Sun | None = None,
    earliest: Mapping[str, datetime] | None = None,
) -> Known:
    """Put together what is known at ``now``; later entries and forecasts are left out."""
    zone = ZoneInfo(job.site.time_zone)
    entries = tuple(e for e in progress.entries if e.at <= now)
    read = weather_read(job, entries, now)
    raw = [f for f in (*previous, forecast) if f is not None and _told(f, now)]
    laid = [laid_into(f, read) for f in raw]
    told, newest = laid[:-1], laid[-1] if laid else None
    measured = None if observed is None else laid_into(observed, read)
    seen = Progress(entries)
    standing = standings(job, seen, now=now)
    return Known(
        job=job,
        now=now,
        zone=zone,
        view=_view("", newest, told, measured, now, zone),
        evidence=evidence(job, entries, standing, now),
        others=_other_views(newest, told, measured, now, zone),
        before=_before(newest, told, measured, now, zone),
        newest=newest,
        told=tuple(raw),
        observed=observed,
        facts=tuple(f for f in seen.facts if f.at is None or f.at <= now),
        readings=tuple(r for r in seen.readings if (reading_time(r) or now) <= now),
        entries=entries,
        sun=_sun(job, now, sun, zone),
        standing=standing,
        earliest=dict(earliest or {}),
        there=on_site_from(job, now),
    )


def _told(forecast: Forecast, now: datetime) -> bool:
    issued = forecast.provenance.issued_at
    return issued is None or issued <= now


def _view(
    name: str,
    newest: Forecast | None,
    older: Sequence[Forecast],
    observed: Forecast | None,
    now: datetime,
    zone: ZoneInfo,
) -> View:
    hours = lay(newest, older, observed, zone=zone)
    if newest is None:
        return View(name=name, hours=hours, stale=True)
    source = newest.provenance
    return View(name, hours, source.source, source.issued_at, stale(newest, now))


def stale(forecast: Forecast, now: datetime) -> bool:
    """Tell whether a forecast is too old to say go on; one without an issue time is."""
    return forecast.provenance.is_stale(now)


def _before(
    newest: Forecast | None,
    told: Sequence[Forecast],
    observed: Forecast | None,
    now: datetime,
    zone: ZoneInfo,
) -> View | None:
    if newest is None:
        return None
    same = [f for f in told if f.provenance.source == newest.provenance.source]
    if not same:
        return None
    return _view("previous", same[-1], same[:-1], observed, now, zone)


def _other_views(
    newest: Forecast | None,
    told: Sequence[Forecast],
    observed: Forecast | None,
    now: datetime,
    zone: ZoneInfo,
) -> tuple[View, ...]:
    """Return the newest fresh forecast of each other source."""
    if newest is None:
        return ()
    by_source = {f.provenance.source: f for f in told}
    by_source.pop(newest.provenance.source, None)
    return tuple(
        _view(source, forecast, (), observed, now, zone)
        for source, forecast in sorted(by_source.items())
        if not stale(forecast, now)
    )


def _sun(
    job: Job, now: datetime, sun: Sun | None, zone: ZoneInfo
) -> dict[date, tuple[datetime | None, datetime | None]]:
    today = now.astimezone(zone).date()
    days = [today + timedelta(days=n) for n in range(-1, 32)]
    known_days = {day: sun(day) for day in days} if sun is not None else {}
    for row in job.daylight:
        rise, down = known_days.get(row.day, (None, None))
        known_days[row.day] = (row.sunrise or rise, row.sunset or down)
    return known_days


def shifted(view: View, column: str, by: float, *, name: str, after: datetime) -> View:
    """Return a view whose forecast hours of one column are moved by a constant."""
    if column not in view.hours:
        return view
    series = view.hours[column]
    from_hour = int(after.timestamp() // 3600)
    coming = np.arange(series.values.size) + series.first >= max(from_hour, series.seen_until)
    moved = replace(series, values=np.where(coming, series.values + by, series.values))
    return replace(view, name=name, hours={**view.hours, column: moved})
