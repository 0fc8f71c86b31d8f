"""Holds of the job itself, and what a release by the right person does.

A hold is lifted only by an entry of the log that names the person. A release of one of the job's
own holds stands for good; one of a rule's, which looks at the site as it was, for a day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Final

from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import CheckLine, HoldLine, Outcome
from scheduler.planning.model.log import Entry, release_of
from scheduler.planning.model.standing import unreleased
from scheduler.planning.rulings.ruling import Ruling, graded

LOOK_LASTS: Final = timedelta(hours=24)  # of a look at the site; common practice, no source
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


def with_releases(trial: Trial, made: Sequence[Ruling]) -> list[Ruling]:
    """Return rulings with those lifted that a person of the role has released."""
    since = trial.known.now - LOOK_LASTS
    told = [entry for entry in trial.known.entries if entry.at >= since]
    return [_lifted(trial, ruling, told) for ruling in made]


def _lifted(trial: Trial, ruling: Ruling, told: Sequence[Entry]) -> Ruling:
    if ruling.call != HOLD or not ruling.holds:
        return ruling
    entry = release_of(told, trial.task.id, (line.by for line in ruling.holds))
    if entry is None:
        return ruling
    outcome = Outcome.GO_WITH_PROTECTION if ruling.measures else Outcome.GO
    limit = ruling.limit
    if limit is not None:
        limit = replace(graded(limit, outcome), overridden_by=f"released by {entry.who}")
    said = CheckLine("photos_and_log", f"released by {entry.who}")
    return replace(
        ruling, outcome=outcome, call="", limit=limit, holds=(), checks=(*ruling.checks, said)
    )
