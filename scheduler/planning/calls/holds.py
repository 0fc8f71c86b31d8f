"""Holds of the job itself, and what a release by the right person does.

A hold is lifted only by an entry of the log that names the person. A release of one of the job's
own holds stands for good; one of a rule's, which looks at the site as it was, for a day, for that
rule, and for readings and a forecast no worse than it was given on. Measures are asked all the
same.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Final

from rules.book_rows import Row
from rules.facts import LOOK_LASTS_H
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import CheckLine, HoldLine, Outcome
from scheduler.planning.model.log import Entry, release_of
from scheduler.planning.model.standing import unreleased
from scheduler.planning.rulings.asks import EDGE
from scheduler.planning.rulings.rows import ruling as row_ruling
from scheduler.planning.rulings.ruling import GRAVITY, Ruling, graded

LOOK_LASTS: Final = timedelta(hours=LOOK_LASTS_H)
HOLD: Final = "hold"


def holds_of(trial: Trial) -> list[Ruling]:
    """Return the job's own holds on a task that nobody has released."""
    return [
        Ruling(
            rule=f"job:{trial.task.id}",
            outcome=Outcome.NO_GO,
            call=HOLD,
            holds=tuple(HoldLine(role, hold.needs) for role in hold.by),
        )
        for hold in unreleased(trial.task, trial.known.entries)
    ]


def with_releases(trial: Trial, made: Sequence[Ruling], rows: Iterable[Row]) -> list[Ruling]:
    """Return rulings with those lifted that a person of the role has released.

    A release holds for the row that it names, or for the only hold that its role can lift, and
    only while the row comes out no worse than it did at the release.
    """
    since = trial.known.now - LOOK_LASTS
    told = [entry for entry in trial.known.entries if entry.at >= since]
    by_id = {row.id: row for row in rows}
    holding = [ruling for ruling in made if ruling.call == HOLD and ruling.holds]
    return [_lifted(trial, one, holding, told, by_id.get(one.rule)) for one in made]


def _lifted(
    trial: Trial,
    ruling: Ruling,
    holding: Sequence[Ruling],
    told: Sequence[Entry],
    row: Row | None,
) -> Ruling:
    if ruling.call != HOLD or not ruling.holds:
        return ruling
    entry = release_of(_meant(told, ruling, holding), trial.task.id, _roles(ruling))
    if entry is None or (row is not None and _is_worse(trial, ruling, row, entry)):
        return ruling
    outcome = Outcome.GO_WITH_PROTECTION if ruling.measures else Outcome.GO
    limit = ruling.limit
    if limit is not None:
        limit = replace(graded(limit, outcome), overridden_by=f"released by {entry.who}")
    said = CheckLine("photos_and_log", f"released by {entry.who}")
    return replace(
        ruling, outcome=outcome, call="", limit=limit, holds=(), checks=(*ruling.checks, said)
    )


def _roles(ruling: Ruling) -> set[str]:
    return {line.by for line in ruling.holds}


def _meant(told: Iterable[Entry], ruling: Ruling, holding: Sequence[Ruling]) -> Iterator[Entry]:
    """Yield the releases that speak of a ruling: by name, or as the only one of their role."""
    for entry in told:
        named, role = entry.payload.get("row"), entry.payload.get("role")
        alone = sum(role in _roles(other) for other in holding) == 1
        if named == ruling.rule or (named is None and alone):
            yield entry


def _is_worse(trial: Trial, ruling: Ruling, row: Row, release: Entry) -> bool:
    """Tell whether a row comes out worse than on the readings and forecast of a release."""
    then, released = trial.known.as_of(release), release.at
    seen = None if ruling.limit is None else ruling.limit.at
    if then is None:  # nobody can tell what the weather was to be
        return ruling.moves or (seen is not None and released < seen <= trial.known.now)
    earlier = row_ruling(replace(trial, known=then), row)
    if earlier is None or GRAVITY[ruling.outcome] > GRAVITY[earlier.outcome]:
        return True
    now, was = ruling.limit, earlier.limit
    if now is None or was is None or now.value is None:
        return False
    if isinstance(now.value, bool) or isinstance(was.value, bool) or was.value is None:
        return now.at is not None and now.at > released
    worse = now.value - was.value
    return (-worse if row.low_is_worse else worse) > EDGE
