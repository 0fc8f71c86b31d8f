"""What a row says where nobody knows: an ordinary size, a look before starting, or not known.

Only a state that a person can see before starting is a condition of a go; it never stands in for
hours to come. What weather leaves is looked at where that weather has been.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Final

import numpy as np

from rules.book_rows import Row
from rules.facts import band_of as band_said
from rules.facts import stated
from rules.verdict import Verdict
from scheduler.planning.evidence.ages import (
    AGES,
    ancestors,
    finished,
    is_done,
    kinds_of,
    near,
)
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import CheckLine, LimitLine, Outcome, Span
from scheduler.planning.model.job import State, Task
from scheduler.planning.rulings.asks import OUTCOMES, asked, band_of, limit_line
from scheduler.planning.rulings.conditions import hour_at
from scheduler.planning.rulings.quantities import Reckoned, weather
from scheduler.planning.rulings.ruling import Ruling

LEFT_H: Final = timedelta(
    hours=72
)  # how long frost and rain leave a state behind; common practice
COLD_F: Final = 36.0  # 32 °F, and the error of a forecast low
WET_IN: Final = 0.01


def unread(trial: Trial, row: Row) -> Ruling:
    """Return a row's word where its fact, reading, size or age is not known."""
    if row.quantity in AGES:
        return _age(trial, row)
    told = limit_line(row, None, Reckoned(None, row.unit, missing="absent"), "value")
    shown = told if row.limit_as else None
    if row.ordinary is not None:
        taken = f"{row.says}: taken as {row.ordinary:g} {row.unit} at most"
        band = band_of(row, row.ordinary)
        usual = limit_line(row, band, Reckoned(row.ordinary, row.unit, "assumed"), "value")
        made = asked(trial, row, band, OUTCOMES[band.outcome], usual if row.limit_as else None)
        return replace(made, checks=(*made.checks, CheckLine("size_not_stated", taken)))
    if row.only_advises:
        return asked(trial, row, None, Outcome.GO, shown)
    return seen(trial, row, shown) if row.seen_on_site else not_known(trial, row)


def unforeseen(trial: Trial, row: Row, span: Span) -> Ruling:
    """Return a row's word where its weather is not known."""
    if row.only_advises or row.felt:
        return asked(trial, row, None, Outcome.GO, None)
    return seen(trial, row) if is_past(trial, row, span) else not_known(trial, row, span)


def is_past(trial: Trial, row: Row, span: Span) -> bool:
    """Tell whether what is not known are hours gone by, whose state is seen before starting."""
    return bool(row.seen_on_site) and span.end <= trial.known.now


def not_known(trial: Trial, row: Row, span: Span | None = None) -> Ruling:
    """Return the refusal of a limit that binds and that nobody can judge."""
    found = Reckoned(None, row.unit, missing="absent", window=span)
    limit = replace(limit_line(row, None, found, row.taken_as), outcome=Outcome.NOT_KNOWN)
    return asked(trial, row, None, Outcome.NOT_KNOWN, limit)


def seen(trial: Trial, row: Row, told: LimitLine | None = None) -> Ruling:
    """Return the go that holds once a person has seen the state that weather may have left."""
    made = asked(trial, row, None, Outcome.GO, told)
    if not _is_due(trial, row):
        return replace(made, checks=(), cautions=())
    gravest = max(row.bands, key=lambda band: band.outcome)
    names = row.checks or (gravest.checks if row.left_by else ())
    text = f"go once seen: {row.says} ({row.seen_on_site})"
    return replace(made, checks=(), conditions=tuple(CheckLine(name, text) for name in names))


def _is_due(trial: Trial, row: Row) -> bool:
    if not row.left_by or _was_bad(trial, row):
        return True
    name, unit = (
        ("air_temperature", "degF") if row.left_by == "frost" else ("precipitation_amount", "in")
    )
    values = weather(trial.known, name, unit, trial.start - LEFT_H, trial.start)
    told = values[np.isfinite(values)]
    if not told.size:
        return True
    return bool((told < COLD_F).any() if row.left_by == "frost" else (told >= WET_IN).any())


def _was_bad(trial: Trial, row: Row) -> bool:
    """Tell whether what was last said or read of it refused, and nobody says that it is over."""
    since_h = hour_at(trial) - LEFT_H.total_seconds() / 3600.0
    told = stated(row.quantity, trial.known.facts_of(trial.task))
    bands = [
        band_said(one.value, row.bands, row.unit)
        for one in told
        if one.at is not None and one.at >= since_h
    ]
    return any(band is not None and band.outcome > Verdict.GO for band in bands)


# ages


def _age(trial: Trial, row: Row) -> Ruling:
    """Return the word on an age that nobody logged.

    Work that is still to do before this one is waited for by its link, which keeps the row's own
    hours; see ``book_waits``. A thing that the job does not have binds nothing.
    """
    before = ancestors(trial.known.job, trial.task)
    ahead = any(
        other.id in before and not is_done(trial.known, other)
        for other in trial.known.job.tasks
        if is_of(other, trial.task, row.quantity)
    )
    binds = (row.needed and not ahead) or is_undated(trial, row)
    if binds and not row.only_advises:
        return not_known(trial, row)
    return asked(trial, row, None, Outcome.GO, None)


def is_undated(trial: Trial, row: Row) -> bool:
    """Tell whether a part that an age counts from is being built, or done nobody said when."""
    return any(
        _is_undated(trial, other, row)
        for other in trial.known.job.tasks
        if is_of(other, trial.task, row.quantity)
    )


def is_of(other: Task, task: Task, quantity: str) -> bool:
    """Tell whether an age counts from another task."""
    return other.id != task.id and other.work_type in kinds_of(quantity) and near(other, task)


def _is_undated(trial: Trial, other: Task, row: Row) -> bool:
    standing = trial.known.standing.get(other.id)
    under_way = standing is not None and standing.state is State.UNDER_WAY
    built = is_done(trial.known, other) and finished(trial.known, other) is None
    return built or (under_way and row.needed)
