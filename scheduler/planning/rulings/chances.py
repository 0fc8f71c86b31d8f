"""What is said of chances: members of an ensemble, the climate, the site's own record.

The cold, wet or windy side is planned for where it asks for more than the forecast itself; it
never refuses work alone. Heat that only that side asks for is staged, not lit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from rules.book_rows import Band, Row
from rules.units import UNITS, convert
from rules.verdict import Verdict
from scheduler.planning.evidence.ages import as_moment
from scheduler.planning.evidence.known import Known, View, shifted
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import (
    CautionLine,
    LimitLine,
    MeasureLine,
    NumberLine,
    Outcome,
    Span,
)
from scheduler.planning.rulings.asks import OUTCOMES, asked, band_of
from scheduler.planning.rulings.rows import span_over
from scheduler.planning.rulings.ruling import Ruling

SITE_RECORD: Final = "site record"
SHARES: Final = ("p10", "p50", "p90")
HEATED: Final = frozenset({"heated_enclosure", "electric_blankets"})
Told = Mapping[str, object]


def extras(known: Known, key: str) -> list[Told]:
    """Return what the newest forecast carries beside its hours under a key."""
    rows = () if known.newest is None else known.newest.extras.get(key, ())
    return [r for r in rows if isinstance(r, Mapping)] if isinstance(rows, list | tuple) else []


# the site's own record


def with_site_record(known: Known) -> Known:
    """Return the knowledge with a view of the forecast moved by how the site differed from it."""
    error = site_error_c(known)
    if error is None:
        return known
    view: View = shifted(known.view, "air_temperature_c", error, name=SITE_RECORD, after=known.now)
    return replace(known, others=(*known.others, view))


def site_error_c(known: Known) -> float | None:
    """Return the mean of site less forecast air temperature over the days on record, K."""
    errors = [
        (_celsius(row, "observed") - _celsius(row, "forecast"))
        for row in extras(known, "forecast_check")
        if row.get("quantity") == "air_temperature"
        and row.get("observed") is not None
        and row.get("forecast") is not None
    ]
    return float(np.mean(errors)) if errors else None


def _celsius(row: Told, key: str) -> float:
    return float(convert(float(str(row[key])), str(row.get("unit", "degF")), "degC"))


def error_numbers(known: Known) -> list[NumberLine]:
    """Return the site's mean difference from the forecast as a number."""
    error = site_error_c(known)
    if error is None:
        return []
    value = float(convert(error, "delta_degC", "delta_degF"))
    return [NumberLine("forecast_error", "mean", value, "delta_degF")]


# members and climate


def share_numbers(known: Known) -> list[NumberLine]:
    """Return the percentiles that the ensemble and the climate give."""
    made = []
    for row in (*extras(known, "ensemble"), *extras(known, "climate")):
        window, at = _window(known, row), as_moment(known, row.get("date"))
        for share in SHARES:
            value = row.get(share)
            if isinstance(value, int | float) and not isinstance(value, bool):
                made.append(_share(row, share, float(value), window, at))
                made += _at_site(known, row, made[-1])
            elif (moment := as_moment(known, value)) is not None:
                made.append(_share(row, share, moment, window, at))
    return made


def _at_site(known: Known, row: Told, told: NumberLine) -> list[NumberLine]:
    """Return a share of the members moved by how the site differed from that source."""
    error = site_error_c(known)
    of_forecast = isinstance(row.get("window"), Mapping)
    if error is None or row.get("quantity") != "air_temperature" or not of_forecast:
        return []
    celsius = float(convert(float(str(told.value)), told.unit, "degC")) + error
    value = float(convert(celsius, "degC", told.unit))
    return [replace(told, quantity="air_temperature_at_site", value=value)]


def _share(
    row: Told, share: str, value: float | datetime, window: Span | None, at: datetime | None
) -> NumberLine:
    return NumberLine(
        str(row.get("quantity", "")), share, value, str(row.get("unit", "")), window=window,
        at=at if window is None else None,
    )  # fmt: skip


def _window(known: Known, row: Told) -> Span | None:
    told = row.get("window")
    if not isinstance(told, Mapping):
        return None
    start, end = as_moment(known, told.get("from")), as_moment(known, told.get("until"))
    return None if start is None or end is None else Span(start, end)


def cold_side(trial: Trial, rows: Sequence[Row]) -> list[Ruling]:
    """Return what the tenth of the members on the worse side asks for beyond the forecast."""
    made = []
    for told in extras(trial.known, "ensemble"):
        for row in rows:
            ruling = _beyond(trial, row, told)
            if ruling is not None:
                made.append(ruling)
    return made


def _beyond(trial: Trial, row: Row, told: Told) -> Ruling | None:
    same = told.get("quantity") == row.name and told.get("taken_as") == row.taken_as
    span = span_over(trial, row)
    window = _window(trial.known, told)
    if not same or span is None or not _overlap(span, window):
        return None
    share = "p10" if row.low_is_worse or row.taken_as == "min" else "p90"
    value = _number(told, share, row.unit)
    middle = _number(told, "p50", row.unit)
    if value is None or middle is None:
        return None
    band, usual = band_of(row, value), band_of(row, middle)
    if band is usual:
        return None
    return _staged(trial, row, band, usual, value, share, span)


def _number(told: Told, share: str, unit: str) -> float | None:
    value, own = told.get(share), str(told.get("unit", ""))
    if isinstance(value, bool) or not isinstance(value, int | float) or own not in UNITS:
        return None
    return float(convert(float(value), own, unit))


def _overlap(span: Span, window: Span | None) -> bool:
    if window is None:
        return True
    shared = min(span.end, window.end) - max(span.start, window.start)
    return shared >= min(window.end - window.start, span.end - span.start) / 2 > timedelta(0)


def _staged(
    trial: Trial, row: Row, band: Band, usual: Band, value: float, share: str, span: Span
) -> Ruling:
    """Ask for the graver band's measures, its heat only brought near."""
    outcome = OUTCOMES[min(band.outcome, Verdict.GO_WITH_PROTECTION)]
    limit = LimitLine(
        rule=row.id, quantity=row.name, taken_as=share, value=value, unit=row.unit,
        outcome=OUTCOMES[band.outcome], window=span, source=row.source, clause=row.clause,
        verify=row.verify,
    )  # fmt: skip
    whole = asked(trial, row, band, outcome, limit)
    had = {n for need in usual.measures for n in need.measure}
    lines = [m for m in whole.measures if m.measure not in had]
    caution = CautionLine("thin_margin", f"{share} of the members: {value:.1f} {row.unit}")
    return Ruling(
        rule=row.id,
        outcome=outcome if lines else Outcome.GO,
        limit=limit,
        measures=tuple(_near(line, trial) for line in lines),
        checks=whole.checks,
        cautions=(caution, *whole.cautions),
    )


def _near(line: MeasureLine, trial: Trial) -> MeasureLine:
    if line.measure not in HEATED:
        return line
    start = max(trial.known.now, trial.start) if line.start is None else line.start
    on_hand = "stage_heater" in trial.known.job.on_hand
    return replace(line, measure="stage_heater", start=start, on_hand=on_hand)
