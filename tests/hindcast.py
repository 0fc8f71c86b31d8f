"""Does the stated date hold? Each autumn of a real record is left out in turn and then looked at.

    python -m tests.hindcast FILE --confidence 0.9 [--station NAME] [--units us|metric]

For each start day and year the date is stated from all other years through the whole chain
(scenarios, exposure, order statistic), then the year itself says whether a limit was passed on or
before that day. Three kinds of forecast are tried: none (climate only), a calibrated one that
misses the year's own next week by the published error, and that week itself. The last is no test
of the date, because scenarios err as published and a perfect forecast does not: it shows what the
error costs. Printed beside them: how often dates of other confidences held, and the dates stated
from earlier years only, where a changing climate shows.

A date is a whole day, so the share promised (scenarios without a breach on or before it) lies
somewhat over the confidence. Sampling allows what a binomial gives in 95 of 100 records: from its
low end at the confidence to its high end at the share promised.

Exit code 0 where every share held lies in that interval, 1 where one does not, 2 where the record
is refused.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

from rules.errors import CloseinError
from rules.exposure import NEVER
from scheduler.planning.forecast.climate_years import ClimateYears
from scheduler.planning.forecast.forecast_error import KNOTS, error_spread, errors
from scheduler.planning.forecast.scenarios import TEMPERATURE, Scenarios, scenarios
from scheduler.planning.model.job import Calendar, ExposureLimits, GroundLimits, Job, Site
from scheduler.planning.open_house.closein_date import (
    Ends,
    Season,
    closein_date,
    latest_safe,
    years_needed,
)
from scheduler.planning.open_house.open_house import breaches
from scheduler.planning.tables.hours import HourlyTable
from scheduler.weather.climate import read_climate

FORECAST_H = 168
SEASON = 2026  # the year that is pretended to be planned; no record reaches it
STARTS = ((10, 1), (10, 15), (11, 1), (11, 15))
SEASON_END = (12, 31)
DRAWS = 4  # errors tried with each year, so that no lucky draw decides
CONFIDENCES = (0.5, 0.6, 0.7, 0.8, 0.9, 0.95)
CHANCE_OUTSIDE = 0.05  # of the interval that sampling allows
KINDS = ("climate only", "noisy forecast", "perfect forecast")


@dataclass(frozen=True, slots=True)
class Replay:
    """One start day and kind of forecast over all years."""

    start: date
    kind: str
    years: int
    held: float  # years; a year tried with several errors counts by its share of them
    promised: float  # mean share of scenarios without a breach on or before the stated day
    dates: tuple[date | None, ...]  # stated, None: not before the season's end
    worst: date | None  # the earliest day before a breach in any year
    median: date | None

    @property
    def share(self) -> float:
        """Return the share of years in which the date held."""
        return self.held / self.years

    def allowed(self, confidence: float) -> tuple[float, float]:
        """Return the shares that sampling allows."""
        low, _ = sampling_interval(self.years, confidence)
        _, high = sampling_interval(self.years, max(self.promised, confidence))
        return low, high

    def later_than_worst(self) -> float:
        """Return the mean days from the worst year's last safe day to the stated date."""
        if self.worst is None:
            return 0.0
        stated = [(day - self.worst).days for day in self.dates if day is not None]
        return float(np.mean(stated)) if stated else math.nan


def place(record: ClimateYears) -> Job:
    """Return a job at the station: the usual open house over a shallow footing."""
    longitude = record.longitude_deg or 0.0
    offset = round(longitude / 15.0)
    zone = "Etc/GMT" if offset == 0 else f"Etc/GMT{-offset:+d}"
    return Job(
        name="hindcast",
        site=Site(record.station, record.latitude_deg or 45.0, longitude, 0.0, zone),
        units="si",
        book="tms602-2016",
        calendar=Calendar(week=(None,) * 7),
        tasks=(),
        exposure=ExposureLimits(ground=GroundLimits(frost_free_m=0.3)),
    )


def whole(record: ClimateYears) -> ClimateYears:
    """Return the record without the years that have gaps."""
    keep = np.isfinite(record.column(TEMPERATURE)).all(axis=1)
    return only(record, keep)


def only(record: ClimateYears, keep: np.ndarray) -> ClimateYears:
    """Return the chosen years of a record."""
    return replace(
        record,
        years=tuple(np.asarray(record.years)[keep].tolist()),
        columns={name: values[keep] for name, values in record.columns.items()},
    )


def forecast_of(
    record: ClimateYears, row: int, kind: str, first: datetime, draw: int = 0
) -> HourlyTable:
    """Return what a forecast might have said at the start of a year's season.

    The noisy one is made so that the year differs from it by the published error and that the
    difference does not hang on what it said: ``F = m + a (T - m) + sqrt(a) e`` with
    ``a = 1 - var(e) / var(T)``. That is what a calibrated public forecast does (a day that is hard
    to tell is told near the season's mean); truth plus an error would not be.
    """
    start = np.datetime64(int(first.timestamp() // 3600), "h")
    if kind == "climate only":
        return HourlyTable(start=start + np.arange(0), columns={})
    truth = record.columns[TEMPERATURE][:, :FORECAST_H]
    if kind == "perfect forecast":
        air = truth[row]
    else:
        rest = np.delete(truth, row, axis=0)
        normals = np.random.default_rng([7, draw, row]).standard_normal((1, KNOTS))
        solar = (first.hour + (record.longitude_deg or 0.0) / 15.0) % 24.0
        error = errors(TEMPERATURE, normals, solar, FORECAST_H)[0]
        spread = error_spread(TEMPERATURE, solar, FORECAST_H)
        kept = np.clip(1.0 - (spread / np.maximum(rest.std(axis=0), 1e-9)) ** 2, 0.0, 1.0)
        mean = rest.mean(axis=0)
        air = mean + kept * (truth[row] - mean) + np.sqrt(kept) * error
    return HourlyTable(start=start + np.arange(FORECAST_H), columns={TEMPERATURE: air})


def scene_of(
    job: Job, rest: ClimateYears, forecast: HourlyTable, first: datetime, count: int
) -> Scenarios:
    """Return scenarios from the rest of the years."""
    return scenarios(
        forecast=forecast,
        climate=rest,
        now=first,
        until=first + timedelta(hours=rest.hours),
        seed=11,
        count=count,
        longitude_deg=job.site.longitude_deg,
    )


def safe_days(job: Job, record: ClimateYears, season: Season, first: datetime) -> list[date]:
    """Return each year's own last safe day; the season's last where no limit is passed."""
    start = np.datetime64(int(first.timestamp() // 3600), "h") + np.arange(record.hours)
    table = HourlyTable(start=start, columns=record.columns)
    passed = np.minimum.reduce([breach.passed for breach in breaches(job, table)])
    return [season.days[-1] if h >= NEVER else season.day_before(int(h)) for h in passed]


def replay(
    job: Job,
    record: ClimateYears,
    kind: str,
    first: datetime,
    *,
    count: int,
    earlier: bool = False,
) -> Replay:
    """Leave each year out in turn (or, with ``earlier``, use only the years before it)."""
    years = np.asarray(record.years)
    begin = max(30, years_needed(job.confidence)) if earlier else 0
    draws = DRAWS if kind == KINDS[1] else 1
    order = [(row, draw) for row in range(begin, years.size) for draw in range(draws)]
    dates: list[date | None] = []
    truth: list[date] = []
    held, promised = 0, 0.0
    for row, draw in order:
        keep = np.arange(years.size) < row if earlier else np.arange(years.size) != row
        ahead = forecast_of(record, row, kind, first, draw)
        weather = scene_of(job, only(record, keep), ahead, first, count)
        answer = closein_date(job=job, weather=weather)
        truth = truth or safe_days(job, record, Season.of(weather, job), first)
        if answer.overall.ends not in {Ends.LIMIT, Ends.SEASON_END}:
            raise AssertionError(f"{years[row]}: {answer.overall.ends}")
        day = answer.latest_safe or answer.days[-1]
        dates.append(answer.latest_safe)
        held += truth[row] >= day
        promised += 1.0 - answer.risk[answer.days.index(day)] if day in answer.days else 1.0
    own = sorted(truth[begin:])
    return Replay(
        start=first.date(),
        kind=kind,
        years=len(own),
        held=held / draws,
        promised=promised / len(dates),
        dates=tuple(dates),
        worst=own[0],
        median=own[len(own) // 2],
    )


def reliability(
    job: Job, record: ClimateYears, kind: str, first: datetime, count: int
) -> list[tuple[float, float, float]]:
    """Return for several confidences the share promised and the share held."""
    years = np.arange(len(record.years))
    got = np.zeros((len(CONFIDENCES), 2))
    truth: list[date] = []
    for row in years:
        rest = only(record, years != row)
        weather = scene_of(job, rest, forecast_of(record, row, kind, first), first, count)
        season = Season.of(weather, job)
        truth = truth or safe_days(job, record, season, first)
        passed = np.minimum.reduce([b.passed for b in breaches(job, weather.table)])
        risk = season.risk_by_day(passed)
        for place_, confidence in enumerate(CONFIDENCES):
            last, _ = latest_safe(
                passed, weather.table.hours, confidence=confidence,
                climate_from=weather.climate_from(), years=weather.years,
            )  # fmt: skip
            day = min(season.day_before(last), season.days[-1])
            safe = 1.0 - risk[season.days.index(day)] if day in season.days else 1.0
            got[place_] += safe, truth[row] >= day
    return [(c, *pair) for c, pair in zip(CONFIDENCES, (got / years.size).tolist(), strict=True)]


def sampling_interval(years: int, confidence: float) -> tuple[float, float]:
    """Return the shares between which chance alone keeps 95 % of records of this length.

    Binomial: 2.5 % of records lie under the low end, 2.5 % over the high one.
    """
    if confidence >= 1.0:
        return 1.0, 1.0
    weights = np.array(
        [
            math.exp(
                math.lgamma(years + 1) - math.lgamma(k + 1) - math.lgamma(years - k + 1)
                + k * math.log(confidence) + (years - k) * math.log(1 - confidence)
            )
            for k in range(years + 1)
        ]
    )  # fmt: skip
    below = np.cumsum(weights)
    low = int((below > CHANCE_OUTSIDE / 2).argmax())
    high = int((below >= 1 - CHANCE_OUTSIDE / 2).argmax())
    return low / years, high / years


def table(replays: Sequence[Replay], confidence: float) -> str:
    """Return the figures as lines to print."""
    head = "start   forecast          years  promised   held  allowed        "
    lines = [head + "stated (earliest..latest)  worst   median  later than worst"]
    for one in replays:
        days = [day for day in one.dates if day is not None]
        span = f"{min(days):%d %b}..{max(days):%d %b}" if days else "not before season's end"
        low, high = one.allowed(confidence)
        mark = "" if low <= one.share <= high else "  OUTSIDE"
        lines.append(
            f"{one.start:%d %b}  {one.kind:<17} {one.years:>5}  {one.promised:>8.1%} "
            f"{one.share:>6.1%}  {low:.1%}..{high:>6.1%}  {span:<25}  "
            f"{one.worst:%d %b}  {one.median:%d %b}  {one.later_than_worst():+.1f} d{mark}"
        )
    return "\n".join(lines)


def season_of(
    path: Path, start: tuple[int, int], station: str, units: str
) -> tuple[ClimateYears, datetime]:
    """Return the whole years of a record from a start day to the season's end."""
    first = datetime(SEASON, *start, 5, tzinfo=UTC)
    end = datetime(SEASON, *SEASON_END, 5, tzinfo=UTC)
    record = read_climate(
        path,
        site=Site("", 45.0, -75.0, 0.0, "Etc/GMT+5"),
        start=first,
        hours=int((end - first).total_seconds()) // 3600,
        station=station,
        units=units,
    )
    return whole(record), first


def run(
    path: Path, confidence: float, *, station: str = "", units: str = "", count: int = 200
) -> tuple[list[Replay], list[Replay]]:
    """Return the replays with each year left out, and those from earlier years only.

    Raises
    ------
    CloseinError
        If the record cannot be read or is too short for the confidence.
    """
    left_out, earlier = [], []
    for start in STARTS:
        record, first = season_of(path, start, station, units)
        need = years_needed(confidence) + 1
        if len(record.years) < need:
            raise CloseinError(
                f"{path.name}: {len(record.years)} whole autumns from {first:%d %B}; leaving one "
                f"out, {confidence:.0%} needs {need} or more: refused"
            )
        job = replace(place(record), confidence=confidence)
        left_out += [replay(job, record, kind, first, count=count) for kind in KINDS]
        if len(record.years) > max(30, need):
            earlier.append(replay(job, record, KINDS[0], first, count=count, earlier=True))
    return left_out, earlier


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the figures and return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("file", type=Path)
    parser.add_argument("--confidence", type=float, default=0.9)
    parser.add_argument("--station", default="")
    parser.add_argument("--units", default="")
    parser.add_argument("--scenarios", type=int, default=120)
    parser.add_argument("--reliability", action="store_true")
    given = parser.parse_args(arguments)
    try:
        left_out, earlier = run(
            given.file,
            given.confidence,
            station=given.station,
            units=given.units,
            count=given.scenarios,
        )
    except CloseinError as refused:
        print("\n".join(refused.lines()[:5]), file=sys.stderr)
        return 2
    print(f"each autumn left out in turn, {given.confidence:.0%} asked for")
    print(table(left_out, given.confidence))
    if earlier:
        print("\nfrom earlier years only, at least 30 of them")
        print(table(earlier, given.confidence))
    if given.reliability:
        print("\nconfidence, promised, held, by kind of forecast, start 1 November")
        for kind, rows in reliabilities(given).items():
            print(kind, "  ".join(f"{c:.0%}: {p:.1%} {h:.1%}" for c, p, h in rows), sep=": ")
    judged = [one for one in left_out if one.kind != KINDS[2]]
    bounds = [one.allowed(given.confidence) for one in judged]
    inside = [lo <= one.share <= hi for one, (lo, hi) in zip(judged, bounds, strict=True)]
    return 0 if all(inside) else 1


def reliabilities(given: argparse.Namespace) -> dict[str, list[tuple[float, float, float]]]:
    """Return the reliability of the first two kinds of forecast on 1 November."""
    record, first = season_of(given.file, STARTS[2], given.station, given.units)
    job = place(record)
    return {kind: reliability(job, record, kind, first, given.scenarios) for kind in KINDS[:2]}


if __name__ == "__main__":
    sys.exit(main())
