"""What this day brings: of rows that let work go, only the words that its weather calls for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import timedelta
from typing import Final

import numpy as np

from rules.brought import brought_by, notes, weathers
from scheduler.planning.evidence.observed_then_forecast import hour_of, last_hour
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import Outcome, Span
from scheduler.planning.rulings.ruling import Judged, Ruling

COLD_C: Final = (40.0 - 32.0) / 1.8  # ACI 306R-16, TMS 602-16 article 1.8 C: cold from 40 F
HOT_C: Final = (80.0 - 32.0) / 1.8  # common practice, no source
LIKELY_PCT: Final = 20.0  # common practice, no source
BEFORE, AFTER, RAIN_AFTER = timedelta(hours=24), timedelta(hours=72), timedelta(hours=24)
FROZEN: Final = ("frost", "ice", "frozen", "snow")  # conditions of the site that speak of cold


def of_this_day(judged: Judged) -> Judged:
    """Return a judged trial without what only other weather would bring.

    A ruling that refuses or asks for a measure keeps everything it says.
    """
    comes = {name for name in weathers() if COMES[name](judged.trial)}
    quiet = {
        part: frozenset().union(
            *(brought_by(f"{name}.{part}") for name in weathers() if name not in comes)
        )
        for part in ("cautions", "checks", "numbers")
    }
    return replace(judged, rulings=tuple(_heard(one, quiet) for one in judged.rulings))


def _heard(ruling: Ruling, quiet: Mapping[str, frozenset[str]]) -> Ruling:
    if ruling.outcome is not Outcome.GO:
        return ruling
    unheard = quiet["cautions"] | notes()
    return replace(
        ruling,
        cautions=tuple(c for c in ruling.cautions if c.text or c.caution not in unheard),
        checks=tuple(c for c in ruling.checks if c.check not in quiet["checks"]),
        numbers=tuple(n for n in ruling.numbers if n.quantity not in quiet["numbers"]),
    )


def _worst(trial: Trial, column: str, span: Span, *, low: bool = False) -> float | None:
    """Return the worst known value of a column in a span; None where no hour of it is known."""
    series = trial.known.view.hours.get(column)
    if series is None:
        return None
    values = series.hours(hour_of(span.start), last_hour(span.end))
    known = values[np.isfinite(values)]
    return None if not known.size else float(known.min() if low else known.max())


def _cold(trial: Trial) -> bool:
    begins = min(trial.start, trial.known.now)
    span = Span(begins - BEFORE, trial.end + AFTER)
    least = _worst(trial, "air_temperature_c", span, low=True)
    told = any(
        any(word in fact.condition for word in FROZEN) and fact.value not in (False, None)
        for fact in trial.known.facts
    )
    return told or _read_cold(trial) or least is None or least <= COLD_C


def _read_cold(trial: Trial) -> bool:
    """Tell whether anything read on site in the last day was cold."""
    since = trial.known.now - BEFORE
    return any(
        reading.unit in {"degF", "degC"}
        and (reading.at is None or reading.at >= since)
        and float(reading.value) <= (40.0 if reading.unit == "degF" else COLD_C)
        for reading in trial.known.readings
    )


def _rain(trial: Trial) -> bool:
    span = Span(min(trial.start, trial.known.now), trial.end + RAIN_AFTER)
    amount = _worst(trial, "precipitation_amount_mm", span)
    chance = _worst(trial, "precipitation_probability_pct", span)
    if amount is None and chance is None:
        return True
    return (amount or 0.0) > 0.0 or (chance or 0.0) >= LIKELY_PCT


def _heat(trial: Trial) -> bool:
    most = _worst(trial, "air_temperature_c", Span(trial.start - BEFORE, trial.end + BEFORE))
    return most is None or most >= HOT_C


COMES: Final[Mapping[str, Callable[[Trial], bool]]] = {"cold": _cold, "rain": _rain, "heat": _heat}
