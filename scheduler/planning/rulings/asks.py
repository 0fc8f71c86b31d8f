"""What a row and its band ask of people: limit, measures on the clock, when it is over."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from rules.book_rows import Asks, Band, Need, Row
from rules.grading import at_hand, wanted_after
from rules.kinds import Form, kind_of
from rules.moments import Moment
from rules.units import UNITS
from rules.verdict import Verdict
from scheduler.planning.evidence.ages import AGES, is_done, since
from scheduler.planning.evidence.observed_then_forecast import hour_of, moment_of
from scheduler.planning.evidence.times import on_clock
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import (
    CautionLine,
    CheckLine,
    HoldLine,
    LimitLine,
    MeasureLine,
    NumberLine,
    Outcome,
    Span,
    TellLine,
)
from scheduler.planning.rulings.conditions import by_hour
from scheduler.planning.rulings.quantities import COLUMNS, Reckoned, is_hourly, on_site
from scheduler.planning.rulings.ruling import Ruling, after, graded

SIGNS: Final = {"degF": "°F", "degC": "°C", "delta_degF": "°F", "delta_degC": "°C", "in": "in."}
EDGE: Final = 1e-6
# Limits that people ask for as a moment: when it is over, when it is passed.
MOMENTS: Final = frozenset({"load_allowed", "hot_weather_limit_passed"})
START, END = Moment("start"), Moment("end")
OUTCOMES: Final = {
    Verdict.GO: Outcome.GO,
    Verdict.GO_WITH_PROTECTION: Outcome.GO_WITH_PROTECTION,
    Verdict.NOT_KNOWN: Outcome.NOT_KNOWN,
    Verdict.NO_GO: Outcome.NO_GO,
}


def band_of(row: Row, value: float) -> Band:
    """Return the band a value lies in; an edge belongs to the band above unless it says so."""
    for band in row.bands[:-1]:
        edge = band.up_to
        if edge is None:
            continue
        if value < edge - EDGE or (band.edge == "below" and value <= edge + EDGE):
            return band
    return row.bands[-1]


def limit_line(row: Row, band: Band | None, found: Reckoned, taken_as: str) -> LimitLine:
    """Return a row's limit as told, with the value that decides it."""
    return LimitLine(
        rule=row.id,
        quantity=row.name,
        taken_as=taken_as,
        value=found.value,
        unit=found.unit or row.unit,
        outcome=Outcome.NOT_KNOWN if band is None else OUTCOMES[band.outcome],
        window=found.window,
        at=found.at,
        place=found.place,
        allowed=allowed(row) if band is None else _allowed_here(row, band),
        says="" if band is None else _says(row, band),
        source=row.source,
        clause=row.clause,
        verify=row.verify,
        overridden_by=row.overridden_by,
    )


def allowed(row: Row) -> str:
    """Return in words which values a row lets pass, neighbouring bands taken together."""
    ranges: list[list[float | None]] = []
    said: list[str] = []
    low: float | None = None
    open_ = False
    for band in row.bands:
        passes = band.outcome <= Verdict.GO_WITH_PROTECTION
        if band.is_ is not None:
            said += [str(band.is_)] if passes else []
            continue
        if passes and open_:
            ranges[-1][1] = band.up_to
        elif passes:
            ranges.append([low, band.up_to])
        open_, low = passes, band.up_to
    return " or ".join([*said, *(_range(low, high, row.unit) for low, high in ranges)])


def _allowed_here(row: Row, band: Band) -> str:
    """Return the band a value lies in where it asks for measures, else what the row lets pass."""
    if band.outcome is not Verdict.GO_WITH_PROTECTION or band.is_ is not None:
        return allowed(row)
    at = row.bands.index(band)
    low = row.bands[at - 1].up_to if at else None
    return f"{_range(low, band.up_to, row.unit)} with measures"


def _range(low: float | None, high: float | None, unit: str) -> str:
    sign = SIGNS.get(unit, unit)
    if low is None and high is None:
        return "any"
    if low is None:
        return f"under {high:g} {sign}"
    return f"{low:g} {sign} and more" if high is None else f"{low:g} to {high:g} {sign}"


def asked(
    trial: Trial,
    row: Row,
    band: Band | None,
    outcome: Outcome,
    limit: LimitLine | None,
    *,
    event: datetime | None = None,
) -> Ruling:
    """Return a ruling with everything that a row and its band ask for.

    ``event`` is the first hour at which the limit is passed.
    """
    parts: list[Asks] = [row] if band is None else [band, row]
    measures = [m for p in parts for m in _measures(trial, row, p.measures, event)]
    said = "" if band is None else band.says
    lacks: list[MeasureLine] = []
    if outcome is Outcome.GO_WITH_PROTECTION:
        lacks = [m for p in parts for m in _lacking(trial, row, p.measures)]
    if lacks:
        outcome = Outcome.NO_GO
        limit = None if limit is None else graded(limit, outcome)
    refused = outcome in {Outcome.NO_GO, Outcome.NOT_KNOWN}
    return Ruling(
        rule=row.id,
        outcome=outcome,
        limit=limit,
        call=band.call if band is not None else "",
        measures=tuple(measures),
        lacks=tuple(lacks),
        checks=tuple(CheckLine(c, row.says) for p in parts for c in p.checks),
        cautions=tuple(
            CautionLine(c, said) for p in _warning(row, parts, outcome) for c in p.cautions
        ),
        holds=tuple(HoldLine(by, h.needs, row.id) for p in parts for h in p.holds for by in h.by),
        tells=tuple(
            TellLine(who, t.what, None if t.by is None else on_clock(t.by, trial, event=event))
            for p in parts for t in p.tells for who in t.whom
        ),
        numbers=_limit_number(trial, row, outcome, event),
        moves=bool(lacks),
        bears=_bears(row),
        clears_at=_clears(trial, row) if refused else None,
    )  # fmt: skip


def _says(row: Row, band: Band) -> str:
    """Return a band's own words; of the band that is left when all is well, none."""
    best = row.bands[-1] if row.low_is_worse else row.bands[0]
    well = band is best and band.outcome is Verdict.GO and not row.only_advises
    return "" if well else band.says


def _warning(row: Row, parts: list[Asks], outcome: Outcome) -> list[Asks]:
    """Return whose cautions are told: those of a row of the weather only where it brings them."""
    calm = outcome is Outcome.GO and is_hourly(row.quantity) and not row.safety
    return [part for part in parts if part is not row] if calm else parts


def _bears(row: Row) -> tuple[tuple[str, str], ...]:
    """Return the weather that a row looks at, in itself or in its conditions."""
    looked = [(row.quantity, row.unit)]
    looked += [(c.what, c.unit) for c in (*row.when, *row.unless)]
    return tuple((name, unit) for name, unit in looked if name in COLUMNS and not row.on_site)


def _limit_number(
    trial: Trial, row: Row, outcome: Outcome, event: datetime | None
) -> tuple[NumberLine, ...]:
    """Return the limit itself as a number, or the moment at which it is passed."""
    edges = [b.up_to for b in row.bands if b.up_to is not None]
    if not row.limit_as or not edges:
        return ()
    if row.limit_as in MOMENTS:
        at = _over_at(trial, row, edges[0]) if row.quantity in AGES else event
        told = at is not None and (row.quantity in AGES or outcome is not Outcome.GO)
        return (NumberLine(row.limit_as, "first_time", at, "time"),) if told else ()
    warm = row.limit_as.endswith("_required") and UNITS[row.unit][0] == "temperature"
    taken_as = "min" if warm else "value"
    return (NumberLine(row.limit_as, taken_as, refusing_edge(row), row.unit),)


def refusing_edge(row: Row) -> float:
    """Return the edge at which a row begins to refuse, or to ask where it never refuses."""
    edges = [b.up_to for b in row.bands if b.up_to is not None]
    refusing = [i for i, b in enumerate(row.bands) if b.outcome is Verdict.NO_GO]
    if not refusing:
        return edges[-1] if row.low_is_worse else edges[0]
    if refusing[-1] == len(row.bands) - 1:
        return edges[max(refusing[0] - 1, 0)]
    return edges[refusing[-1]]


def _over_at(trial: Trial, row: Row, edge: float) -> datetime | None:
    begun = since(trial.known, row.quantity, trial.task)
    return None if begun is None else after(begun, edge * (24.0 if row.unit == "d" else 1.0))


def _measures(
    trial: Trial, row: Row, needs: Iterable[Need], event: datetime | None
) -> Iterable[MeasureLine]:
    on_hand = trial.known.job.on_hand
    for need in needs:
        if not _is_wanted(trial, need):
            continue
        here = next((n for n in need.measure if n in on_hand), None)  # of several any one does
        names = need.measure if here is None else (here,)
        begins = END if wanted_after(need) and need.from_ == START else need.from_
        for name in names:
            yield MeasureLine(
                measure=name,
                start=on_clock(begins, trial, event=event),
                end=on_clock(need.until, trial, event=event),
                rule=row.id,
                on_hand=name in on_hand,
                text=need.says,
            )


def _lacking(trial: Trial, row: Row, needs: Iterable[Need]) -> Iterable[MeasureLine]:
    """Yield the measures that cannot be there when they are wanted, one of each group.

    What is finished, stands or is kept asks for its measures without waiting for them.
    """
    known, task = trial.known, trial.task
    if kind_of(task.work_type).form is not Form.WORK or is_done(known, task):
        return
    for need in needs:
        if not _is_wanted(trial, need) or at_hand(frozenset()).intersection(need.measure):
            continue
        by = max(trial.end if wanted_after(need) else trial.start, known.now)
        come = [known.there[name] for name in need.measure if name in known.there]
        if not come or min(come) > by:
            said = need.says or ("comes too late" if come else "nobody has or offers it")
            yield MeasureLine(need.measure[0], by, None, row.id, on_hand=False, text=said)


def _is_wanted(trial: Trial, need: Need) -> bool:
    if by_hour(need.when, trial, trial.span, met=True) is False:
        return False
    return not need.unless or by_hour(need.unless, trial, trial.span, met=False) is not True


def _clears(trial: Trial, row: Row) -> datetime | None:
    """Return when a refusal may be over, where the row says how it recovers."""
    if row.quantity in AGES:
        edge = next((b.up_to for b in row.bands if b.up_to is not None), None)
        return None if edge is None else _over_at(trial, row, edge)
    if row.recovers_h is None:
        return None
    now = trial.known.now
    begins = now
    if row.recovers_when is not None:
        found = first_time(trial, row)
        if found is None:
            return None
        begins = max(found, now)
    return max([begins + timedelta(hours=row.recovers_h), *_read_again(trial, row)])


def _read_again(trial: Trial, row: Row) -> list[datetime]:
    """Return when readings that refused no longer speak, where nobody reads again before."""
    speaks_h, now = row.speaks_h(bad=True), trial.known.now
    if speaks_h is None or speaks_h == row.reading_age_h:
        return []
    told = on_site(trial.known, row.quantity, row.unit, trial.task, age_h=speaks_h, at=now)
    return [one.at + timedelta(hours=speaks_h) for one in told if one.at is not None]


def first_time(trial: Trial, row: Row) -> datetime | None:
    """Return the first coming hour at which a row's recovery can begin."""
    condition = row.recovers_when
    if condition is None:
        return trial.known.now
    ends = [s.end for s in trial.known.view.hours.values()]
    if not ends:
        return None
    span = Span(trial.known.now, moment_of(max(ends)))
    if span.end <= span.start:
        return None
    mask = by_hour((condition,), trial, span, met=True)
    if isinstance(mask, np.ndarray):
        good = np.flatnonzero(mask == 1.0)
        return moment_of(hour_of(span.start) + int(good[0])) if good.size else None
    return trial.known.now if mask is True else None
