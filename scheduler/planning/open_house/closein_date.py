"""The latest safe close-in date: how long the open house may wait, and the chance of making it.

For each scenario the house is left open and the first hour at which a limit is passed is found.
The date is the lower order statistic of those hours at the job's confidence, never the upper:
with ``n`` past years the ``k``-th earliest with ``k / (n + 1) <= 1 - confidence``, because one
more year like them falls before the ``k``-th earliest with just that chance (order statistics of
exchangeable draws; David and Nagaraja, Order Statistics, section 7). Where ``k`` would be below
one the years are too few and no date is given. Days are local days; a limit passed in the night
to Tuesday asks for a house closed on Monday.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from itertools import zip_longest
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from rules.exposure import NEVER, HourNumbers
from rules.verdict import FloatArray
from scheduler.planning.forecast.scenarios import FEWEST_YEARS, Scenarios
from scheduler.planning.model.job import Job
from scheduler.planning.open_house.open_house import Breach, breaches


class Ends(StrEnum):
    """What the latest safe date comes from."""

    LIMIT = "limit"  # a limit is passed the day after
    SEASON_END = "season_end"  # no limit is passed in the stated share: not before season's end
    TOO_FEW_YEARS = "too_few_years"  # the record cannot support the confidence: no date
    NOT_KNOWN = "not_known"  # weather that the limit needs is missing: no date


@dataclass(frozen=True, slots=True)
class LimitDate:
    """The latest safe date of one limit, or of all together."""

    limit: str  # "" for all together
    allowed: str
    source: str
    ends: Ends
    latest_safe: date | None  # None unless ``ends`` is a limit
    passes_at: datetime | None  # UTC hour of that order statistic
    known_safe_until: date  # last day up to which the stated share is known to hold
    passes: Mapping[int, date | None]  # day by which 10, 50, 90 % of scenarios have passed it; {}:
    # too few years
    forecast_only: date | None  # latest safe day on the forecast as it stands, if within it
    climate_only: date | None  # the same statistic on the past years alone
    share_passed: float | None  # of scenarios, by the season's end; None: too few years


@dataclass(frozen=True, slots=True)
class CloseInAnswer:
    """The date, the margin, the chance, and what they rest on."""

    confidence: float
    overall: LimitDate
    limits: tuple[LimitDate, ...]  # earliest first
    binding: str  # limit that sets the date, "" where none does
    left_out: tuple[str, ...]  # limits whose weather is not known; the date does not stand on them
    planned: date | None  # local day of the planned close-in
    margin_days: int | None  # None where one of the two days is not known
    margin_at_least: bool  # not before season's end: the margin is a lower bound
    chance: float | None  # closed in before that scenario's own first breach
    days: tuple[date, ...]  # of the curve
    risk: FloatArray  # (days,) share of scenarios with a limit passed by the end of each day;
    # empty where the years are too few for a share
    planned_on: FloatArray  # (days,) the same with one more year (or scenario) counted as passed
    years: int  # different past years behind it
    scenarios: int
    notes: tuple[str, ...]
    years_made: int | None = None  # in so many of ``years``, where they are too few for a chance

    @property
    def latest_safe(self) -> date | None:
        """Return the overall date; None where it is not before season's end or not known."""
        return self.overall.latest_safe


def closein_date(
    *,
    job: Job,
    weather: Scenarios,
    planned: datetime | None = None,
    closed: HourNumbers | None = None,
    open_from: int = 0,
    more: Sequence[Breach] = (),
) -> CloseInAnswer:
    """Return the latest safe close-in date, the margin and the chance of making it.

    Parameters
    ----------
    job : Job
        Its confidence, exposure limits and time zone are used.
    weather : Scenarios
        From now to the season's end.
    planned : datetime, optional
        Close-in of the plan, UTC.
    closed : (scenarios,) or (1,), optional
        Close-in hour of the plan replayed in each scenario, counted from the weather's first
        hour; ``NEVER`` where it is not reached. Without it the planned moment stands for all.
    open_from : int
        Hour in which the house is first open, from ``envelope.hour_opened``.
    more : sequence of Breach, optional
        Further limits, judged on the same scenarios, e.g. ``closing_work.work_runs_out``.
    """
    season = Season.of(weather, job)
    every = breaches(job, weather.table, open_from=open_from)
    every = (*every, *(_in_each(breach, weather.count) for breach in more))
    stated = breaches(job, weather.forecast, open_from=open_from)
    past = () if weather.past is None else breaches(job, weather.past, open_from=open_from)
    limits = [season.limit(*three) for three in zip_longest(every, stated, past)]
    left_out = {breach.limit for breach in every if season.blind(breach)}
    first = _first(every, left_out)
    overall = season.limit(
        first, _first(stated, left_out), _first(past, left_out) if past else None
    )
    limits.sort(key=lambda found: (found.known_safe_until, found.limit))
    if closed is None and planned is not None:
        closed = np.array([season.hour_of(planned)])
    passed = season.plan_on(first)
    day = None if planned is None else planned.astimezone(season.zone).date()
    answer = CloseInAnswer(
        confidence=job.confidence,
        overall=overall,
        limits=tuple(limits),
        binding=season.binding(limits, overall),
        left_out=tuple(sorted(left_out)),
        planned=day,
        margin_days=season.margin(overall, day),
        margin_at_least=overall.ends is Ends.SEASON_END,
        chance=_chance(overall, passed, closed),
        days=season.days,
        risk=season.risk_by_day(passed),
        planned_on=season.planned_on(passed),
        years=weather.years,
        scenarios=weather.count,
        notes=weather.notes + season.words(overall, limits, left_out),
    )
    return answer if weather.carries_shares else _counted(answer, weather, passed, closed)


def _counted(
    answer: CloseInAnswer, weather: Scenarios, passed: HourNumbers, closed: HourNumbers | None
) -> CloseInAnswer:
    """Return the answer of few past years: counts of years where shares would stand."""
    made = None
    if closed is not None and answer.chance is not None:
        _, made = weather.counted(_made(passed, closed))
    overall, *limits = (
        replace(one, passes={}, share_passed=None) for one in (answer.overall, *answer.limits)
    )
    nothing = np.empty(0)
    return replace(
        answer,
        overall=overall,
        limits=tuple(limits),
        chance=None,
        risk=nothing,
        planned_on=nothing,
        years_made=made,
    )


def first_breach(
    *, job: Job, weather: Scenarios, open_from: int = 0, more: Sequence[Breach] = ()
) -> HourNumbers:
    """Return the first hour past any limit in each scenario, as ``closein_date`` counts it."""
    season = Season.of(weather, job)
    every = breaches(job, weather.table, open_from=open_from)
    every = (*every, *(_in_each(breach, weather.count) for breach in more))
    left_out = {breach.limit for breach in every if season.blind(breach)}
    return season.plan_on(_first(every, left_out))


def _chance(overall: LimitDate, passed: HourNumbers, closed: HourNumbers | None) -> float | None:
    """Return the joint chance; none where the date is not known because weather is missing.

    What is not known counts as passed, which is right for a date and no chance at all.
    """
    if closed is None or overall.ends is Ends.NOT_KNOWN:
        return None
    return joint_chance(passed, closed)


def joint_chance(passed: HourNumbers, closed: HourNumbers) -> float:
    """Return the share of scenarios closed in before their own first breach.

    Parameters
    ----------
    passed : (scenarios,)
        First hour past a limit.
    closed : (scenarios,) or (1,)
        Hour at which the last closing task is done; ``NEVER`` where it is not.
    """
    return float(_made(passed, closed).mean())


def _made(passed: HourNumbers, closed: HourNumbers) -> NDArray[np.bool_]:
    made = (closed <= passed) & (closed < NEVER)
    return np.broadcast_to(made, passed.shape)


def years_needed(confidence: float) -> int:
    """Return the fewest past years that can support a confidence.

    The earliest of ``n`` years is undercut by one more year with chance ``1 / (n + 1)``. Fewer
    than ``FEWEST_YEARS`` support none.
    """
    return max(int(np.ceil(1.0 / (1.0 - confidence) - 1.0 - 1e-9)), FEWEST_YEARS)


def risk_bound(
    passed: HourNumbers, hours: int, *, climate_from: int, years: int
) -> tuple[FloatArray, FloatArray]:
    """Return the share of scenarios past a limit, and the share to plan on, by hour.

    Parameters
    ----------
    passed : (scenarios,)
        First hour past a limit.
    hours : int
        Length of the season.
    climate_from : int
        First hour whose weather leans on past years.
    years : int
        Different past years behind the scenarios.

    Returns
    -------
    share, bound : (hours + 1,)
        Share passed before each hour and before the season's end; and the same with one more
        scenario (in the forecast's hours) or one more year (after them) counted as passed: what
        is not seen in few years is not thereby impossible.
    """
    counts = np.bincount(np.minimum(passed, hours), minlength=hours + 1)
    before = np.concatenate([[0], np.cumsum(counts)[:hours]]).astype(np.float64)
    share = before / passed.size
    by_scenario = (before + 1.0) / (passed.size + 1.0)
    by_year = (years * share + 1.0) / (years + 1.0)
    leans = np.arange(hours + 1) > climate_from
    return share, np.where(leans, np.maximum(by_year, by_scenario), by_scenario)


def latest_safe(
    passed: HourNumbers, hours: int, *, confidence: float, climate_from: int, years: int
) -> tuple[int, Ends]:
    """Return the last hour before which a limit is passed seldom enough, and what ends it.

    It is the hour before the first at which the bound goes over ``1 - confidence``: what the
    risk does later does not count. ``hours`` with ``Ends.SEASON_END`` where it never does.
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence}, want a share between 0 and 1")
    _, bound = risk_bound(passed, hours, climate_from=climate_from, years=years)
    over = bound > 1.0 - confidence + 1e-12
    if not over.any():
        return hours, Ends.SEASON_END
    last = int(over.argmax()) - 1
    if years == 0 and last >= climate_from:
        return last, Ends.NOT_KNOWN
    few = last < 0 or (years < years_needed(confidence) and last >= climate_from)
    return max(last, 0), Ends.TOO_FEW_YEARS if few else Ends.LIMIT


@dataclass(frozen=True, slots=True)
class Season:
    """The planned hours as local days, and how sure the job wants to be."""

    zone: ZoneInfo
    first: datetime  # UTC, hour zero
    hours: int
    confidence: float
    climate_from: int
    years: int
    past_years: int
    days: tuple[date, ...]

    @classmethod
    def of(cls, weather: Scenarios, job: Job) -> Season:
        """Return the season of a set of scenarios."""
        zone = ZoneInfo(job.site.time_zone)
        first = weather.table.start[0].astype("datetime64[s]").item().replace(tzinfo=UTC)
        hours = weather.table.hours
        begin = first.astimezone(zone).date()
        end = (first + timedelta(hours=hours - 1)).astimezone(zone).date()
        return cls(
            zone=zone,
            first=first,
            hours=hours,
            confidence=job.confidence,
            climate_from=weather.climate_from(),
            years=weather.years,
            past_years=0
            if weather.past is None
            else _rows(weather.past.column("air_temperature_c")),
            days=tuple(begin + timedelta(days=d) for d in range((end - begin).days + 1)),
        )

    def hour_of(self, moment: datetime) -> int:
        """Return the whole hour at or after a moment."""
        return int(np.ceil((moment - self.first).total_seconds() / 3600.0))

    def at(self, hour: int) -> datetime:
        """Return the UTC moment of an hour."""
        return self.first + timedelta(hours=int(hour))

    def day_before(self, hour: int) -> date:
        """Return the last local day that is over when the hour begins."""
        return self.at(hour).astimezone(self.zone).date() - timedelta(days=1)

    def blind(self, breach: Breach) -> bool:
        """Tell whether a limit cannot be judged over the season in any scenario.

        Such a limit is named, not guessed, and only what is seen of it counts; one that the date
        cannot do without is never left out.
        """
        return not breach.essential and bool((breach.unknown < NEVER).all())

    def plan_on(self, breach: Breach) -> HourNumbers:
        """Return first breaches, with weather that is not known counted as passed."""
        passed: HourNumbers = np.minimum(breach.passed, breach.unknown)
        return passed

    def limit(self, breach: Breach, stated: Breach | None, past: Breach | None) -> LimitDate:
        """Return the latest safe date of one limit."""
        last, ends = self._latest(self.plan_on(breach), self.climate_from, self.years)
        blind = self._latest(breach.passed, self.climate_from, self.years)
        if ends is not Ends.SEASON_END and blind[0] > last:
            ends = Ends.NOT_KNOWN
        dated = ends is Ends.LIMIT
        return LimitDate(
            limit=breach.limit,
            allowed=breach.allowed,
            source=breach.source,
            ends=ends,
            latest_safe=self.day_before(last) if dated else None,
            passes_at=self.at(last) if dated else None,
            known_safe_until=self.day_before(last),
            passes={q: self._passed_by(breach.passed, q) for q in (10, 50, 90)},
            forecast_only=self._stated(stated),
            climate_only=self._climate_only(past),
            share_passed=float((breach.passed < NEVER).mean()),
        )

    def _latest(self, passed: HourNumbers, climate_from: int, years: int) -> tuple[int, Ends]:
        return latest_safe(
            passed,
            self.hours,
            confidence=self.confidence,
            climate_from=climate_from,
            years=years,
        )

    def _passed_by(self, passed: HourNumbers, percent: int) -> date | None:
        """Return the local day on which the given share of scenarios has passed the limit."""
        rank = max(int(np.ceil(passed.size * percent / 100.0)), 1) - 1
        hour = int(np.sort(passed)[rank])
        return None if hour >= NEVER else self.at(hour).astimezone(self.zone).date()

    def _stated(self, stated: Breach | None) -> date | None:
        hour = NEVER if stated is None else int(stated.passed.min())
        return self.day_before(hour) if hour < NEVER else None

    def _climate_only(self, past: Breach | None) -> date | None:
        if past is None:
            return None
        last, ends = self._latest(self.plan_on(past), 0, self.past_years)
        return self.day_before(last) if ends is Ends.LIMIT else None

    def binding(self, limits: list[LimitDate], overall: LimitDate) -> str:
        """Return the limit that sets the date: the earliest, then the one most often passed."""
        if overall.ends is not Ends.LIMIT:
            return ""
        dated = [found for found in limits if found.ends is Ends.LIMIT] or limits
        return min(
            dated, key=lambda found: (found.known_safe_until, -(found.share_passed or 0.0))
        ).limit

    def margin(self, overall: LimitDate, planned: date | None) -> int | None:
        """Return the days between the planned and the latest safe close-in."""
        if planned is None:
            return None
        if overall.ends is Ends.SEASON_END:
            return (self.days[-1] - planned).days
        return None if overall.latest_safe is None else (overall.latest_safe - planned).days

    def risk_by_day(self, passed: HourNumbers) -> FloatArray:
        """Return the share of scenarios past a limit by the end of each local day."""
        share, _ = risk_bound(passed, self.hours, climate_from=self.climate_from, years=self.years)
        return share[self._ends()]

    def planned_on(self, passed: HourNumbers) -> FloatArray:
        """Return the share that the date is planned on, by the end of each local day."""
        _, bound = risk_bound(passed, self.hours, climate_from=self.climate_from, years=self.years)
        return bound[self._ends()]

    def _ends(self) -> NDArray[np.int64]:
        """Return the hour at which each local day ends, cut at the season's end."""
        midnights = [
            datetime.combine(day + timedelta(days=1), datetime.min.time(), self.zone)
            for day in self.days
        ]
        return np.minimum([self.hour_of(end) for end in midnights], self.hours)

    def words(
        self, overall: LimitDate, limits: list[LimitDate], left_out: set[str]
    ) -> tuple[str, ...]:
        """Return what a person must know before believing the date."""
        said = [f"{self.years} past years stand behind the days after the forecast"]
        if overall.ends is Ends.TOO_FEW_YEARS:
            said.append(
                f"{self.years} past years cannot support {self.confidence:.0%}: at least "
                f"{years_needed(self.confidence)} are needed, so no date is given"
            )
        said += [
            f"{found.limit}: weather it needs is not known after {found.known_safe_until}"
            + ("; the date does not stand on it" if found.limit in left_out else "")
            for found in limits
            if found.ends is Ends.NOT_KNOWN
        ]
        return tuple(said)


def _rows(values: FloatArray) -> int:
    return int(np.prod(values.shape[:-1], dtype=np.int64))


def _in_each(breach: Breach, count: int) -> Breach:
    """Return a breach with a value for each scenario where it has one for all."""
    passed, unknown = (np.broadcast_to(at, (count,)) for at in (breach.passed, breach.unknown))
    return replace(breach, passed=passed, unknown=unknown)


def _first(parts: tuple[Breach, ...], left_out: set[str]) -> Breach:
    """Return the earliest of several limits, trace by trace.

    Of a limit that is left out what is seen counts, and what is not known does not.
    """
    unknown = [np.full_like(p.unknown, NEVER) if p.limit in left_out else p.unknown for p in parts]
    return Breach(
        "",
        "; ".join(part.allowed for part in parts),
        "; ".join(dict.fromkeys(part.source for part in parts)),
        np.minimum.reduce([part.passed for part in parts]),
        np.minimum.reduce(unknown),
    )
