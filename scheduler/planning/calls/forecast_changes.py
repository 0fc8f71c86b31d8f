"""What a new forecast changes: the same rows on the forecast before it, and the difference."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from rules.book import Row
from rules.shown import shown
from scheduler.planning.evidence.known import Known
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import CautionLine, LimitLine, NumberLine
from scheduler.planning.rulings.rows import ruling
from scheduler.planning.rulings.ruling import GRAVITY, Ruling


def changes(trial: Trial, rows: Sequence[Row], rulings: Iterable[Ruling]) -> list[Ruling]:
    """Return what the newest forecast says otherwise than the one before.

    One ruling for each row whose band moved, with a caution that says from what to what and for
    which hour, and the earlier value of each air temperature that a limit looks at.
    """
    before = trial.known.before
    if before is None:
        return []
    then = replace(trial, known=trial.known.seen_as(replace(before, stale=False)))
    by_id = {row.id: row for row in rows}
    made = []
    for now in rulings:
        row = by_id.get(now.rule)
        if row is None or not now.moves:
            continue
        earlier = ruling(then, row)
        if earlier is not None:
            made.append(_difference(now, earlier, trial.known))
    return [ruling_ for ruling_ in made if ruling_ is not None]


def worsened(now: Ruling, earlier: Ruling) -> bool:
    """Tell whether a row is graver than before, or asks for something else."""
    asked, was = {m.measure for m in now.measures}, {m.measure for m in earlier.measures}
    return GRAVITY[now.outcome] > GRAVITY[earlier.outcome] or bool(asked - was)


def _difference(now: Ruling, earlier: Ruling, known: Known) -> Ruling | None:
    numbers = tuple(_earlier_number(earlier))
    same = now.outcome is earlier.outcome and {m.measure for m in now.measures} == {
        m.measure for m in earlier.measures
    }
    if same and not numbers:
        return None
    cautions = () if same else (CautionLine("forecast_changed", _said(now, earlier, known)),)
    return Ruling(now.rule, earlier.outcome.GO, numbers=numbers, cautions=cautions)


def _earlier_number(earlier: Ruling) -> Iterable[NumberLine]:
    limit = earlier.limit
    told = limit is not None and limit.quantity == "air_temperature" and limit.value is not None
    if limit is not None and told:
        yield NumberLine(
            "air_temperature_previous_forecast",
            limit.taken_as,
            limit.value,
            limit.unit,
            window=limit.window,
            at=limit.at if limit.window is None else None,
        )


def _said(now: Ruling, earlier: Ruling, known: Known) -> str:
    """Return what a value was and is, at which hours, in the job's units."""
    new, old = now.limit, earlier.limit
    units = known.job.units
    if new is None or old is None:
        return f"{now.rule.replace('_', ' ')}: now {_word(now)}, before {_word(earlier)}"
    was = f"{shown(old.value, old.unit, units)}{_hour(old, known)}"
    name = new.quantity.replace("_", " ")
    return f"{name} was {was}, now {shown(new.value, new.unit, units)}{_hour(new, known)}"


def _word(ruling_: Ruling) -> str:
    return ruling_.outcome.value.replace("_", " ")


def _hour(limit: LimitLine, known: Known) -> str:
    at = limit.at or (limit.window.start if limit.window is not None else None)
    return "" if at is None else f" ({at.astimezone(known.zone):%a %-d %b %H:%M})"
