"""What the wall model says of a trial: early freezing, when it is safe, when gates open.

It stands beside the book and never shortens what the book asks. A go becomes a no-go only where
grout or concrete would freeze at its coldest place under every cover on hand or to be had, by the
slow model and by the fast one; where they differ the cover stays on and somebody reads the corner.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Final

from rules.films import covers
from rules.freeze import Fate
from rules.gates import freeze_rule, gates
from scheduler.planning.evidence.ages import is_done
from scheduler.planning.evidence.known import Known
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.evidence.wall_model import Gated, Placing, Standing
from scheduler.planning.model.answer import (
    CautionLine,
    CheckLine,
    HoldLine,
    LimitLine,
    MeasureLine,
    NumberLine,
    Outcome,
    Span,
)
from scheduler.planning.model.job import Task
from scheduler.planning.rulings.ruling import Ruling
from scheduler.planning.strength.fresh_work import BY_WARMTH, material

FREEZES: Final = "model:early_freezing"
STRENGTH: Final = "model:strength"
DOUBTFUL: Final = (
    "it freezes by the model on the safe side, not by the fast one: keep the cover on, read the "
    "coldest corner; the plan waits for a milder start"
)
THREATENED: Final = "by the model it would freeze in the hours to come without a cover"
SEES: Final = "the readings, a core or a break: it may have frozen before it could resist"


def by_strength(trial: Trial, made: Sequence[Ruling]) -> list[Ruling]:
    """Return what the wall model rules on a trial; nothing where it does not judge the task.

    ``made`` are the rulings of book and papers: the covers they ask for are counted on.
    """
    known, task = trial.known, trial.task
    if known.strength is None or known.view.stale:
        return []
    found = [*_of_gates(trial)]
    if is_done(known, task):
        standing = known.strength.standing(task)
        return found if standing is None else [*found, _stands(trial, standing)]
    asked = {line.measure for ruling in made for line in ruling.measures}
    placing = known.strength.placing(task, trial.end, asked=asked)
    return found if placing is None else [*found, _placed(trial, placing)]


def on_frozen(known: Known, task: Task) -> list[Ruling]:
    """Hold a task for the engineer where it stands on finished work that froze."""
    source = "" if known.strength is None else known.strength.frozen_under(task)
    if not source:
        return []
    return [_froze(task, source)]


def protect_until(task: Task, measures: Sequence[MeasureLine]) -> tuple[NumberLine, ...]:
    """Return until when the book, and no model, asks for a cover over what the task places.

    Nothing where it asks for none, or nothing is placed that could freeze.
    """
    words = {cover.measure for cover in covers().values() if cover.measure}
    ends = [m.end for m in measures if m.measure in words and m.end and m.rule != FREEZES]
    if material(task) is None or not ends:
        return ()
    return (NumberLine("protect_until", "first_time", max(ends), "time"),)


def _placed(trial: Trial, told: Placing) -> Ruling:
    """Rule on fresh work that would be in place at the trial's end."""
    outcome, said = Outcome.GO, ""
    if told.fate is Fate.FREEZES and (told.surely or not told.cover):
        outcome, said = Outcome.NO_GO, "by the model, under any cover on hand or to be had"
    elif told.fate is Fate.FREEZES:
        outcome, said = Outcome.GO_WITH_PROTECTION, DOUBTFUL
    elif told.cover:
        outcome, said = Outcome.GO_WITH_PROTECTION, "by the model, without the cover"
    kept = () if outcome is not Outcome.GO_WITH_PROTECTION else (_cover(trial, told),)
    limit = None
    if outcome is not Outcome.GO:
        limit = _limit(trial.task, told.coldest_c, told.coldest_at, outcome)
    return Ruling(
        FREEZES,
        outcome,
        limit,
        measures=kept,
        checks=(CheckLine("read_coldest_corner"),) if said == DOUBTFUL else (),
        cautions=(CautionLine("early_age_freezing", said),) if said else (),
        numbers=tuple(_numbers(told.freeze_safe_at, told.gates)),
        moves=outcome is Outcome.NO_GO,
    )


def _cover(trial: Trial, told: Placing) -> MeasureLine:
    end, text = _kept_until(told)
    return MeasureLine(told.cover, trial.end, end, FREEZES, on_hand=told.on_hand, text=text)


def _kept_until(told: Placing | Standing) -> tuple[datetime, str]:
    """Return until when a cover stays on, by the clock: no forecast tells more than it knows."""
    if told.freeze_safe_at is not None:
        return told.freeze_safe_at, ""
    return told.known_until, "look again then: by the model it does not resist one freeze yet"


def _stands(trial: Trial, told: Standing) -> Ruling:
    """Rule on finished work: hold it where it froze, else say when it is safe."""
    if told.fate is Fate.FREEZES:
        return _froze(trial.task, trial.task.id, told.coldest_c)
    share = NumberLine("strength_share", "value", round(told.share, 3), "1")
    numbers = (share, *_numbers(told.freeze_safe_at, ()))
    if told.threatened:
        return _threatened(trial, told, numbers)
    return Ruling(STRENGTH, Outcome.GO, numbers=numbers)


def _threatened(trial: Trial, told: Standing, numbers: Sequence[NumberLine]) -> Ruling:
    """Ask for a cover over finished work that would freeze in the hours to come."""
    job, now = trial.known.job, trial.known.now
    words = [covers()[name].measure for name in BY_WARMTH]
    had = [word for word in words if word in job.on_hand] or words
    end, text = _kept_until(told)
    here = had[0] in job.on_hand
    cover = MeasureLine(had[0], now, end, FREEZES, on_hand=here, text=text)
    return Ruling(
        FREEZES,
        Outcome.GO_WITH_PROTECTION,
        _limit(trial.task, None, None, Outcome.GO_WITH_PROTECTION),
        measures=(cover,),
        checks=(CheckLine("read_coldest_corner"),),
        cautions=(CautionLine("early_age_freezing", THREATENED),),
        numbers=tuple(numbers),
    )


def _froze(task: Task, source: str, coldest_c: float | None = None) -> Ruling:
    limit = _limit(task, coldest_c, None, Outcome.NO_GO, place=source)
    return Ruling(
        FREEZES,
        Outcome.NO_GO,
        limit,
        call="hold",
        cautions=(CautionLine("early_age_freezing", f"{source} froze before it could resist"),),
        holds=(HoldLine("engineer", SEES),),
    )


def _of_gates(trial: Trial) -> Iterator[Ruling]:
    """Refuse a start before a gate behind finished work opens, or where nobody can say when."""
    known, task = trial.known, trial.task
    for link in task.after:
        told = None if known.strength is None else known.strength.gate(task, link)
        if told is None:
            continue
        late = told.opens is None or trial.start < told.opens
        outcome = Outcome.GO
        if late:
            outcome = Outcome.NOT_KNOWN if told.opens is None else Outcome.NO_GO
        row = gates().get(told.purpose)
        limit = LimitLine(
            rule=f"gate:{told.purpose}",
            quantity="strength_release",
            taken_as="first_time",
            value=None,
            unit="time",
            outcome=outcome,
            at=told.opens,
            place=link.task,
            source="the job's gate" if row is None else row.source,
            verify=row is not None and row.verify,
        )
        numbers = tuple(_numbers(None, (told,)))
        yield Ruling(limit.rule, outcome, limit, numbers=numbers, clears_at=told.opens)


def _numbers(safe: datetime | None, opening: Sequence[Gated]) -> Iterator[NumberLine]:
    if safe is not None:
        yield NumberLine("freeze_safe_at", "first_time", safe, "time")
    for gate in opening:
        if gate.opens is not None:
            name = f"gate_{gate.purpose}"
            yield NumberLine(name, "first_time", gate.opens, "time")


def _limit(
    task: Task, value: float | None, at: datetime | None, outcome: Outcome, *, place: str = ""
) -> LimitLine:
    rule = freeze_rule()
    return LimitLine(
        rule=FREEZES,
        quantity=f"{material(task) or 'grout'}_temperature",
        taken_as="min",
        value=value,
        unit="degC",
        outcome=outcome,
        window=None if at is None else Span(at, at),
        at=at,
        place=place or "its coldest edge, by the model",
        allowed=f"{rule.freezing_point_c:g} °C and warmer until {rule.one_freeze_mpa:g} MPa",
        source=rule.source,
        verify=rule.verify,
    )
