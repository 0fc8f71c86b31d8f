"""What a document asks of a task: engineer's, specification's and label's criteria as rulings.

All criteria of an alternative hold together, any alternative will do; the one that is nearest to
go is taken. An alternative that needs a measure asks for it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import datetime
from typing import Final

import numpy as np

from rules.grading import at_hand
from rules.remedies import remedies
from rules.units import convert
from scheduler.planning.evidence.ages import AGES, ancestors, is_done, kinds_of, near, since
from scheduler.planning.evidence.element_history import SOURCES, gained, history, reached
from scheduler.planning.evidence.known import Known
from scheduler.planning.evidence.observed_then_forecast import hour_of, moment_of
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import (
    CautionLine,
    CheckLine,
    LimitLine,
    MeasureLine,
    NumberLine,
    Outcome,
    Span,
)
from scheduler.planning.model.job import Alternative, Criterion, Document, Task
from scheduler.planning.rulings.numbers import any_chance, period_chance
from scheduler.planning.rulings.quantities import (
    AMOUNTS,
    COLUMNS,
    Reckoned,
    Sense,
    over_hours,
    reach,
    site,
    weather,
)
from scheduler.planning.rulings.ruling import (
    GRAVITY,
    REFUSED,
    Ruling,
    after,
    graded,
    hours_between,
    worst,
)

EDGE: Final = 1e-6
ENGINEER: Final = "engineer"
FIRST_DAY_H: Final = 24.0  # what must be forecast of a period after the work
DRY_PCT: Final = 20.0  # under this chance of any rain hours count as dry; common practice
LIKELIER_PCT: Final = 60.0  # from here rain is likelier than not; common practice, as the book's
FACE_SPEAKS_H: Final = 2.0  # a face follows sun and air within hours; common practice, no source


def rule_on(trial: Trial, document: Document) -> list[Ruling]:
    """Return the rulings of the alternative that is nearest to go.

    Where even that one refuses, what the other ways lack is told too, with what would mend it.
    """
    tried = [_alternative(trial, document, a) for a in document.alternatives]
    if not tried:
        return []
    best = min(tried, key=_gravity)
    if not any(ruling.refuses for ruling in best):
        return best
    others = [replace(r, outcome=Outcome.GO) for way in tried if way is not best for r in way]
    return [_mended(trial, ruling) for ruling in [*best, *others]]


def _mended(trial: Trial, ruling: Ruling) -> Ruling:
    """Return a ruling with what is done about the quantity that falls short."""
    limit = ruling.limit
    if limit is None or limit.outcome not in REFUSED:
        return ruling
    remedy = remedies().get(limit.quantity)
    if remedy is None:
        return ruling
    on_hand = trial.known.job.on_hand
    names = [n for n in remedy.measures if n in on_hand] or list(remedy.measures[:1])
    lines = tuple(
        MeasureLine(n, trial.known.now, trial.start, ruling.rule, on_hand=n in on_hand)
        for n in names
    )
    return replace(
        ruling,
        measures=(*ruling.measures, *lines),
        checks=(*ruling.checks, *map(CheckLine, remedy.checks)),
        cautions=(*ruling.cautions, *map(CautionLine, remedy.cautions)),
    )


def _gravity(rulings: list[Ruling]) -> tuple[int, float]:
    outcome = worst(r.outcome for r in rulings)
    refused = [r for r in rulings if r.refuses]
    clears = [r.clears_at for r in refused]
    known_end = max((c.timestamp() for c in clears if c is not None), default=0.0)
    late = np.inf if None in clears else known_end
    return GRAVITY[outcome], float(late)


def _alternative(trial: Trial, document: Document, alternative: Alternative) -> list[Ruling]:
    made = [_criterion(trial, document, c) for c in alternative.criteria]
    if not alternative.with_measure:
        return made
    there = trial.known.there.get(alternative.with_measure)
    working = alternative.with_measure in at_hand(frozenset())
    late = not working and (there is None or there > max(trial.start, trial.known.now))
    line = MeasureLine(
        measure=alternative.with_measure,
        start=trial.span.start,
        end=trial.span.end,
        rule=f"document:{document.id}",
        on_hand=alternative.with_measure in trial.known.job.on_hand,
    )
    return [_with(ruling, line, late=late) for ruling in made]


def _with(ruling: Ruling, line: MeasureLine, *, late: bool) -> Ruling:
    """Return a ruling that holds with a measure; where that cannot be there in time it refuses."""
    outcome = ruling.outcome
    if outcome is Outcome.GO:
        outcome = Outcome.NO_GO if late else Outcome.GO_WITH_PROTECTION
    limit = None if ruling.limit is None else graded(ruling.limit, outcome)
    lacks = (line,) if late else ()
    moves = ruling.moves or late
    measures = (*ruling.measures, line)
    return replace(
        ruling, outcome=outcome, limit=limit, measures=measures, lacks=lacks, moves=moves
    )


def _criterion(trial: Trial, document: Document, criterion: Criterion) -> Ruling:
    for fits, judge in JUDGES:
        if fits(criterion):
            ruling = judge(trial, criterion)
            limit = ruling.limit
            if limit is not None:
                limit = replace(
                    limit,
                    rule=f"document:{document.id}",
                    source=document.id,
                    allowed=allowed(criterion),
                    what_if=trial.what_if_id,
                )
            return replace(ruling, rule=f"document:{document.id}", limit=limit)
    raise ValueError(f"no way to judge {criterion.quantity}")


def allowed(criterion: Criterion) -> str:
    """Return a criterion's bound in words."""
    words = {"at_least": "at least", "above": "above", "at_most": "at most", "below": "below"}
    parts = [
        f"{text} {getattr(criterion, key):g} {criterion.unit}"
        for key, text in words.items()
        if getattr(criterion, key) is not None
    ]
    if criterion.equals is not None:
        yes_no = {True: "yes", False: "no"}
        parts.append(yes_no.get(criterion.equals, str(criterion.equals)))  # type: ignore[call-overload]
    if criterion.for_h is not None:
        parts.append(f"for {criterion.for_h:g} h")
    return " ".join(parts)


def sense(criterion: Criterion) -> Sense:
    """Return which side of the bound is worse."""
    lower = criterion.at_least is not None or criterion.above is not None
    return "low" if lower or criterion.equals is True else "high"


def meets(criterion: Criterion, value: float | bool) -> bool:
    """Tell whether a value is within the bounds; an edge is met unless the word excludes it."""
    if criterion.equals is not None:
        return value == criterion.equals
    return (
        (criterion.at_least is None or value >= criterion.at_least - EDGE)
        and (criterion.above is None or value > criterion.above + EDGE)
        and (criterion.at_most is None or value <= criterion.at_most + EDGE)
        and (criterion.below is None or value < criterion.below - EDGE)
    )


def _ruling(
    criterion: Criterion,
    found: Reckoned,
    taken_as: str,
    *,
    moves: bool,
    clears_at: datetime | None = None,
    checks: Iterable[str] = (),
    numbers: Iterable[NumberLine] = (),
) -> Ruling:
    if found.value is None or found.missing:
        outcome = Outcome.NOT_KNOWN
    else:
        outcome = Outcome.GO if meets(criterion, found.value) else Outcome.NO_GO
    limit = LimitLine(
        rule="",
        quantity=criterion.quantity,
        taken_as=taken_as,
        value=found.value,
        unit=criterion.unit,
        outcome=outcome,
        window=found.window,
        at=found.at,
        place=found.place,
    )
    return Ruling(
        rule="",
        outcome=outcome,
        limit=limit,
        checks=tuple(CheckLine(check) for check in checks),
        numbers=tuple(numbers),
        clears_at=clears_at,
        moves=moves,
    )


# weather in the hours of the work and after


def _is_weather(criterion: Criterion) -> bool:
    return criterion.quantity in COLUMNS and criterion.quantity != "surface_temperature"


def _weather(trial: Trial, criterion: Criterion) -> Ruling:
    known, span = trial.known, trial.span
    window = Span(span.start, after(span.end, criterion.for_h or 0.0))
    if criterion.quantity in AMOUNTS:
        taken_as = "sum"
    else:
        taken_as = "min" if sense(criterion) == "low" else "max"
    found = over_hours(
        known, criterion.quantity, criterion.unit, taken_as, window, whole=taken_as == "sum"
    )
    if found.missing == "beyond":
        found = _as_far_as_known(known, criterion, taken_as, window)
    ends = reach(known, criterion.quantity)
    needed = min(window.end, after(span.end, FIRST_DAY_H))
    if found.missing == "gap" or (ends is not None and ends < needed):
        unknown = replace(found, missing=found.missing or "beyond")
        found = _already_broken(known, criterion, taken_as, window) or unknown
    dry = _dry_numbers(known, span, criterion) if criterion.quantity in AMOUNTS else []
    if found.value is None and not found.missing:  # wet, but how much is not said
        found = replace(found, value=None, missing="")
        ruling = _ruling(criterion, found, taken_as, moves=True)
        limit = None if ruling.limit is None else graded(ruling.limit, Outcome.NO_GO)
        return replace(ruling, outcome=Outcome.NO_GO, limit=limit, numbers=tuple(dry))
    return _ruling(criterion, found, taken_as, moves=True, numbers=dry)


def _dry_numbers(known: Known, span: Span, criterion: Criterion) -> list[NumberLine]:
    """Give the dry hours after the work, and those that are asked for."""
    asked = [] if criterion.for_h is None else [
        NumberLine("dry_time", "min", criterion.for_h, "h")]  # fmt: skip
    wet = first_rain(known, span.end)
    if wet is None:
        return asked
    return [NumberLine("dry_time", "duration", hours_between(span.end, wet), "h"), *asked]


def _already_broken(
    known: Known, criterion: Criterion, taken_as: str, window: Span
) -> Reckoned | None:
    """Return the worst of the hours that are told where it breaks the bound; None where not."""
    if taken_as == "sum":
        return None
    values = weather(known, criterion.quantity, criterion.unit, window.start, window.end)
    told = np.flatnonzero(np.isfinite(values))
    if not told.size:
        return None
    worst_of = np.argmin if taken_as == "min" else np.argmax
    at = int(told[worst_of(values[told])])
    if meets(criterion, float(values[at])):
        return None
    moment = moment_of(hour_of(window.start) + at)
    return Reckoned(float(values[at]), criterion.unit, "forecast", at=moment, window=window)


def _as_far_as_known(known: Known, criterion: Criterion, taken_as: str, window: Span) -> Reckoned:
    """Judge the part of a long window that the forecast reaches; what is known decides."""
    end = reach(known, criterion.quantity)
    if end is None or end <= window.start:
        return Reckoned(None, criterion.unit, "forecast", "beyond", window=window)
    short = Span(window.start, min(end, window.end))
    return replace(
        over_hours(known, criterion.quantity, criterion.unit, taken_as, short, whole=True),
        window=window,
    )


# faces


def _is_face(criterion: Criterion) -> bool:
    return criterion.quantity in {"surface_temperature", "surface_dry"}


def _face(trial: Trial, criterion: Criterion) -> Ruling:
    known, task, span = trial.known, trial.task, trial.span
    if criterion.quantity == "surface_dry":
        return _ruling(criterion, dryness(known, task, span), "value", moves=True,
                       checks=("surface_dry",))  # fmt: skip
    found = site(known, criterion.quantity, criterion.unit, task, "low")
    forecast = COLUMNS["surface_temperature"][0] in known.view.hours
    today = known.local_day(span.start) == known.local_day(known.now)
    speaks = found is not None and (not forecast or _is_fresh(found, span.start))
    if found is not None and today and speaks:
        return _ruling(criterion, found, "value", moves=forecast,
                       checks=("read_surface_temperature",))  # fmt: skip
    if forecast:
        values = weather(known, criterion.quantity, criterion.unit, span.start, span.end)
        colder = _colder_than_told(known, criterion, found) if today else 0.0
        found = _coldest_face(values - colder, criterion, span)
    else:
        found = Reckoned(None, criterion.unit, missing="absent", window=span, place=task.place)
    return _ruling(criterion, found, "min", moves=True, checks=("read_surface_temperature",))


def _is_fresh(read: Reckoned, start: datetime) -> bool:
    return read.at is None or hours_between(read.at, start) < FACE_SPEAKS_H


def _colder_than_told(known: Known, criterion: Criterion, read: Reckoned | None) -> float:
    """Return by how much a face read colder than the forecast of its hour: carried on that day."""
    if read is None or read.at is None or read.value is None:
        return 0.0
    there = weather(known, criterion.quantity, criterion.unit, read.at, after(read.at, 0.01))
    told = float(there[0]) if there.size and np.isfinite(there[0]) else float(read.value)
    return max(told - float(read.value), 0.0)


def _coldest_face(values: np.ndarray, criterion: Criterion, span: Span) -> Reckoned:
    if values.size == 0 or np.isnan(values).any():
        return Reckoned(None, criterion.unit, "forecast", "gap", window=span)
    low = float(values.min())
    shown = low if np.isfinite(low) else -np.inf
    return Reckoned(shown, criterion.unit, "forecast", "", window=span)


def dryness(known: Known, task: Task, span: Span) -> Reckoned:
    """Return whether faces are dry: a fact of today, the forecast's word, rain in the hours."""
    today = known.local_day(span.start) == known.local_day(known.now)
    read = site(known, "surface_dry", "yes_no", task, "low")
    if read is not None and today:
        return read
    told = _told_wet(known, span)
    values = weather(known, "precipitation_amount", "mm", span.start, span.end)
    rained = values.size > 0 and bool(np.nansum(np.nan_to_num(values, posinf=1.0)) > 0.0)
    if told is None and values.size == 0:
        return Reckoned(None, "yes_no", missing="absent", window=span, place=task.place)
    return Reckoned(not (told or rained), "yes_no", "forecast", window=span, place=task.place)


def _told_wet(known: Known, span: Span) -> bool | None:
    if known.newest is None:
        return None
    day = known.local_day(span.start).isoformat()
    flags = [row.flags.get("surfaces_wet") for row in known.newest.daily if row.date == day]
    return flags[0] if flags else None


# dry hours after the work


def _is_dry_time(criterion: Criterion) -> bool:
    return criterion.quantity == "dry_time"


def _dry_time(trial: Trial, criterion: Criterion) -> Ruling:
    known, span = trial.known, trial.span
    need_h = float(criterion.at_least or criterion.above or 0.0)
    window = Span(span.end, after(span.end, need_h))
    wet = first_rain(known, span.end)
    end = reach(known, "precipitation_amount")
    if wet is not None:
        found = Reckoned(hours_between(span.end, wet), "h", "forecast", at=wet, window=window)
    elif end is None:
        return _dry_by_chance(trial, window)
    elif end < min(window.end, after(span.end, FIRST_DAY_H)):
        found = Reckoned(None, "h", missing="beyond", window=window)
    else:  # dry as far as anybody says
        enough = max(hours_between(span.end, end), need_h)
        found = Reckoned(enough, "h", "forecast", window=window)
    if known.view.stale:
        found = replace(found, missing="stale")
    return _ruling(replace_unit(criterion, "h"), found, "duration", moves=True)


def _dry_by_chance(trial: Trial, window: Span) -> Ruling:
    """Judge dry hours by the chance of any rain in them, where no amount is told.

    Hourly chances bound it and do not combine; a chance told for the whole of them decides.
    """
    known, span = trial.known, Span(trial.start, window.end)
    reached = reach(known, "precipitation_probability")
    told = any_chance(known, replace(span, end=min(reached or span.start, span.end)))
    whole = period_chance(known, span)
    high = whole if whole is not None else told.get("max")
    low = whole if whole is not None else told.get("min")
    outcome = Outcome.NOT_KNOWN
    if low is not None and low >= LIKELIER_PCT:
        outcome = Outcome.NO_GO
    ends = whole is not None or (reached is not None and reached >= span.end)
    if high is not None and high < DRY_PCT and ends and not known.view.stale:
        outcome = Outcome.GO
    limit = LimitLine(
        rule="", quantity="any_precipitation_probability", taken_as="max", value=high, unit="%",
        outcome=outcome, window=span,
    )  # fmt: skip
    numbers = tuple(
        NumberLine("any_precipitation_probability", way, value, "%", window=span)
        for way, value in told.items()
    )
    unsure = whole is None and outcome is not Outcome.GO
    return Ruling(
        "",
        outcome,
        limit,
        checks=(CheckLine("period_probability"),) if unsure else (),
        cautions=(CautionLine("hours_not_independent", "hourly chances do not combine"),)
        if unsure
        else (),
        numbers=numbers,
        bears=(("precipitation_probability", "%"),),
        moves=True,
    )


def replace_unit(criterion: Criterion, unit: str) -> Criterion:
    """Return a criterion whose bounds are in another unit of time."""
    if criterion.unit == unit:
        return criterion

    def turned(value: float | None) -> float | None:
        return None if value is None else float(convert(value, criterion.unit, unit))

    return replace(
        criterion,
        unit=unit,
        at_least=turned(criterion.at_least),
        above=turned(criterion.above),
        at_most=turned(criterion.at_most),
        below=turned(criterion.below),
    )


def first_rain(known: Known, start: datetime) -> datetime | None:
    """Return the beginning of the first wet hour at or after a moment; None where none is told."""
    series = known.view.hours.get(COLUMNS["precipitation_amount"][0])
    if series is None:
        return None
    low = hour_of(start)
    wet = np.flatnonzero(series.hours(low, max(series.end, low)) > 0.0)
    return max(moment_of(low + int(wet[0])), start) if wet.size else None


# ages


def _is_age(criterion: Criterion) -> bool:
    return criterion.quantity in AGES


def _age(trial: Trial, criterion: Criterion) -> Ruling:
    known, task, span = trial.known, trial.task, trial.span
    hours = replace_unit(criterion, "h")
    begun = _built(known, criterion.quantity, task)
    if begun is None:
        found = Reckoned(None, "h", missing="absent", at=span.start)
        return _ruling(hours, found, "value", moves=False)
    need = float(hours.at_least or hours.above or 0.0)
    found = Reckoned(hours_between(begun, span.start), "h", "age", at=span.start)
    ready = after(begun, need)
    first = NumberLine("load_allowed", "first_time", ready, "time")
    return _ruling(hours, found, "value", moves=True, clears_at=ready, numbers=(first,))


def _built(known: Known, quantity: str, task: Task) -> datetime | None:
    """Return when an age begins: the last of what was built, and of what is to be built before.

    Work still to do before the task ends as its own answer says; None where that names no time.
    """
    before = ancestors(known.job, task)
    ahead = [
        known.decided.get(other.id)
        for other in known.job.tasks
        if other.id in before
        and other.work_type in kinds_of(quantity)
        and near(other, task)
        and not is_done(known, other)
    ]
    if any(span is None for span in ahead):
        return None
    begun = since(known, quantity, task)
    ends = [span.end for span in ahead if span is not None]
    return max([*ends, *([] if begun is None else [begun])], default=None)


# histories of an element


def _is_history(criterion: Criterion) -> bool:
    summed = criterion.quantity == "temperature_time_factor"
    return summed or (criterion.quantity in SOURCES and criterion.for_h is not None)


def _history(trial: Trial, criterion: Criterion) -> Ruling:
    known, task, span = trial.known, trial.task, trial.span
    placed = _placed(known, task)
    names = [criterion.quantity] if criterion.quantity in SOURCES else list(SOURCES)
    traces = (
        [] if placed is None else [history(known, n, placed, what_if=trial.what_if) for n in names]
    )
    trace = next((t for t in traces if t is not None), None)
    if trace is None:
        found = Reckoned(None, criterion.unit, missing="absent", at=span.start)
        return _ruling(criterion, found, "value", moves=False, checks=("read_maturity_probe",))
    total, need = gained(trace, criterion)
    ready = reached(trace, total, need)
    steps = trace.steps(span.start)
    have = float(total[steps - 1]) if steps else 0.0
    outcome = Outcome.GO if have >= need - EDGE else Outcome.NO_GO
    limit = _history_limit(trial, criterion, have, outcome)
    release = () if ready is None else (_release(ready, trial.what_if_id),)
    if criterion.quantity == "temperature_time_factor" and trial.what_if is None:
        passed = trace.steps(known.now)
        so_far = float(total[passed - 1]) if passed else 0.0
        now = NumberLine(criterion.quantity, "value", so_far, criterion.unit, at=known.now)
        release = (now, *release)
    return Ruling(
        "",
        outcome,
        limit,
        checks=(CheckLine("read_maturity_probe"),),
        numbers=release,
        clears_at=ready,
        moves=True,
    )


def _release(ready: datetime, what_if: str) -> NumberLine:
    return NumberLine("strength_release", "first_time", ready, "time", what_if=what_if)


def _history_limit(trial: Trial, criterion: Criterion, have: float, outcome: Outcome) -> LimitLine:
    """Show the sum itself for degree-hours, the last reading for hours above a bound."""
    read = trial.known.past_readings(criterion.quantity)
    if criterion.quantity == "temperature_time_factor" or not read:
        value, at, place = have, trial.span.start, ""
    else:
        last = read[-1]
        value = float(convert(float(last.value), last.unit, criterion.unit))
        at, place = last.at or trial.span.start, last.place
    return LimitLine(
        "", criterion.quantity, "value", value, criterion.unit, outcome, at=at, place=place
    )


def _placed(known: Known, task: Task) -> datetime | None:
    ages = ("age_of_grout", "age_of_concrete", "age_of_masonry")
    return next((s for a in ages if (s := since(known, a, task)) is not None), None)


# everything else that is read on site


def _anything(criterion: Criterion) -> bool:
    return bool(criterion.quantity)


def _site(trial: Trial, criterion: Criterion) -> Ruling:
    known, task = trial.known, trial.task
    found = site(known, criterion.quantity, criterion.unit, task, sense(criterion))
    if found is None:
        found = Reckoned(None, criterion.unit, missing="absent")
    broken = criterion.quantity.endswith("_strength")
    if broken and criterion.specimens and not _enough_specimens(known, criterion):
        found = replace(found, missing="absent")
    # A test or a look can come at any time: it is a condition, not a time to wait for.
    return replace(
        _ruling(criterion, found, "value", moves=False,
                checks=("break_specimens",) if broken else ()),
        clears_at=known.now if broken else None,
    )  # fmt: skip


def _enough_specimens(known: Known, criterion: Criterion) -> bool:
    element = criterion.quantity.removesuffix("_strength")
    said = [f.value for f in known.all_facts(element, "specimens_broken")]
    told = max((float(v) for v in said if isinstance(v, int | float)), default=0.0)
    read = len(known.past_readings(criterion.quantity))
    return max(told, read) >= float(criterion.specimens or 0)


Judge = Callable[[Trial, Criterion], Ruling]
JUDGES: Final[tuple[tuple[Callable[[Criterion], bool], Judge], ...]] = (
    (_is_history, _history),
    (_is_face, _face),
    (_is_weather, _weather),
    (_is_dry_time, _dry_time),
    (_is_age, _age),
    (_anything, _site),
)
