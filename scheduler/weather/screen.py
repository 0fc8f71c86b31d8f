"""Screening of read columns: what cannot be true becomes a gap, and is told.

Three checks, none of which ever mends a value: the range of the book's columns, a leap away from
both neighbours and back, and columns that contradict each other. Overshoot inside a column's
slack (humidity 100.3 %) is clipped to the range.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from rules.columns import Column, columns
from rules.verdict import FloatArray
from scheduler.planning.tables.hours import Finding, HourArray

# Most that fell anywhere in a day: 1825 mm of rain, 1930 mm of snow (Silver Lake, Colorado, 1921;
# WMO extremes archive, from memory); ice of the worst storms, common practice, no source.
MOST_IN_A_DAY: Final[Mapping[str, float]] = {
    "precipitation_amount_mm": 1830.0,
    "snowfall_amount_mm": 1940.0,
    "ice_accumulation_mm": 200.0,
}
# Most in any stretch of days: 4.9 m of rain in four days (Reunion, 2007) and 4.5 m of snow in six
# (Thompson Pass, Alaska, 1955), from memory, with room above; ice: common practice, no source.
MOST_AT_ALL: Final[Mapping[str, float]] = {
    "precipitation_amount_mm": 6000.0,
    "snowfall_amount_mm": 5000.0,
    "ice_accumulation_mm": 300.0,
}
# Longest run of equal values that may be one wrong value spread over a merged interval.
LONGEST_SPIKE_H: Final = 3
# Dew point above air by more than this cannot be rounding (0.5 K each, from Fahrenheit).
DEW_ABOVE_AIR_K: Final = 1.5
# Gust below mean wind by more than this cannot be rounding (1 knot each).
GUST_BELOW_WIND_MS: Final = 1.1


def screened(
    start: HourArray, given: Mapping[str, FloatArray]
) -> tuple[dict[str, FloatArray], tuple[Finding, ...]]:
    """Return the columns with impossible values as gaps, and a finding for each kind of fault.

    Parameters
    ----------
    start
        Beginning of each hour, UTC.
    given
        House columns, each ``(hours,)``; left as they are.
    """
    known = columns()
    kept: dict[str, FloatArray] = {}
    findings: list[Finding] = []
    for name, values in given.items():
        if name not in known:
            kept[name] = values
            continue
        possible, beyond = _in_range(start, known[name], values)
        kept[name], leaps = _without_spikes(start, known[name], possible)
        findings += [*beyond, *leaps]
    findings += _agreeing(start, kept)
    return kept, tuple(findings)


def _in_range(
    start: HourArray, column: Column, values: FloatArray
) -> tuple[FloatArray, list[Finding]]:
    with np.errstate(invalid="ignore"):
        out = (values < column.low - column.slack) | (values > column.high + column.slack)
        out |= np.isinf(values)
    if not out.any():
        return np.clip(values, column.low, column.high), []
    at = int(np.argmax(out))
    what = f"{values[at]:g} at {start[at]}Z is outside {column.low:g} to {column.high:g}; not used"
    kept = np.clip(np.where(out, np.nan, values), column.low, column.high)
    return kept, [Finding(column.name, what, int(out.sum()))]


def _without_spikes(
    start: HourArray, column: Column, values: FloatArray
) -> tuple[FloatArray, list[Finding]]:
    """Take out short runs that leap away from both neighbours to the same side."""
    if column.jump is None or values.size < 3:
        return values, []
    edge = np.flatnonzero(np.diff(values) != 0) + 1  # NaN differs from all, so gaps split runs
    first = np.concatenate(([0], edge))
    last = np.concatenate((edge, [values.size]))
    level = values[first]
    if level.size < 3:
        return values, []
    with np.errstate(invalid="ignore"):
        before, after = level[1:-1] - level[:-2], level[1:-1] - level[2:]
        away = np.minimum(np.abs(before), np.abs(after)) > column.jump
        spike = away & (before * after > 0) & ((last - first)[1:-1] <= LONGEST_SPIKE_H)
    if not spike.any():
        return values, []
    kept, hours = values.copy(), 0
    for run in np.flatnonzero(spike) + 1:
        kept[first[run] : last[run]] = np.nan
        hours += int(last[run] - first[run])
    at = int(first[np.flatnonzero(spike)[0] + 1])
    what = (
        f"{values[at]:.3g} at {start[at]}Z leaps by more than {column.jump:g} from the hours "
        "before and after; not used"
    )
    return kept, [Finding(column.name, what, hours)]


def _agreeing(start: HourArray, kept: dict[str, FloatArray]) -> list[Finding]:
    """Take out, in place, pairs of columns that cannot both be right."""
    pairs = (
        ("air_temperature_c", "dew_point_temperature_c", DEW_ABOVE_AIR_K, "dew point above air"),
        ("wind_speed_of_gust_ms", "wind_speed_ms", GUST_BELOW_WIND_MS, "gust below mean wind"),
    )
    findings = []
    for upper, lower, least, what in pairs:
        if upper not in kept or lower not in kept:
            continue
        with np.errstate(invalid="ignore"):
            wrong = kept[lower] - kept[upper] > least
        if wrong.any():
            at = int(np.argmax(wrong))
            told = f"{what} at {start[at]}Z ({kept[lower][at]:.3g} and {kept[upper][at]:.3g}); "
            for name in (upper, lower):
                kept[name] = np.where(wrong, np.nan, kept[name])
            findings.append(Finding(upper, f"{told}neither is used", int(wrong.sum())))
    return findings
