"""Times that a row counts from events of the work, on the clock."""

from __future__ import annotations

from datetime import datetime, time, timedelta

from rules.facts import UNTOLD_LOOK_H
from rules.moments import Moment
from scheduler.planning.evidence.deadlines import of_task
from scheduler.planning.evidence.known import Known
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import Span
from scheduler.planning.model.deliveries import asked_dry_h


def on_clock(when: Moment, trial: Trial, *, event: datetime | None = None) -> datetime | None:
    """Return a row's moment as a time; None where its event does not come.

    ``event`` is the first hour at which the row's limit is passed.
    """
    if when.anchor == "held":  # by a brace, a floor, a roof: no hour of the clock
        return None
    anchor = _anchor(when.anchor, trial, event)
    return None if anchor is None else anchor + timedelta(hours=when.offset_h)


def _anchor(name: str, trial: Trial, event: datetime | None) -> datetime | None:
    known = trial.known
    simple = {"start": trial.start, "end": trial.end, "now": known.now}
    if name in simple:
        return simple[name]
    if name == "before_event":
        return max(known.now, event) if event is not None else trial.start
    if name == "sunset":
        return dusk(known, max(trial.start, known.now))
    if name == "forecast_end":
        return forecast_end(known)
    if name == "cut_off":
        ends = [d.at for d in of_task(known, trial.task, trial.start) if d.at >= known.now]
        return ends[0] if ends else None
    if name == "dry_end":
        return trial.end + timedelta(hours=asked_dry_h(trial.known.documents_for(trial.task)))
    if name == "inspected":
        return _looked_at(trial)
    return _edge_of_day(name, trial)


def _looked_at(trial: Trial) -> datetime:
    """Return when the cut was last looked at; two days back where nobody told of a look."""
    looks = [f for f in trial.known.all_facts("trench", "inspected") if f.value is True]
    told = [f.at for f in looks if f.at is not None and f.at <= trial.start]
    return max(told, default=trial.start - timedelta(hours=UNTOLD_LOOK_H))


def _edge_of_day(name: str, trial: Trial) -> datetime:
    zone = trial.known.zone
    day = max(trial.start, trial.known.now).astimezone(zone).date()
    if name == "day_end":
        day += timedelta(days=1)
    return datetime.combine(day, time(0), tzinfo=zone)


def dusk(known: Known, near: datetime) -> datetime | None:
    """Return sunset of the local day, the next day's where that has passed."""
    day = known.local_day(near)
    for later in range(3):
        sunset = known.sunset(day + timedelta(days=later))
        if sunset is not None and sunset >= known.now:
            return sunset
    return None


def forecast_end(known: Known) -> datetime | None:
    """Return the end of the hours that the sources give."""
    ends = [series.end for series in known.view.hours.values()]
    return None if not ends else datetime.fromtimestamp(max(ends) * 3600, tz=known.now.tzinfo)


def hours_left(trial: Trial) -> Span:
    """Return the hours of work that are still to come; all of them before it begins."""
    start = max(trial.start, min(trial.known.now, trial.end))
    return Span(start, trial.end) if start < trial.end else trial.span
