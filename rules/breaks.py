"""A strength curve of the job's own mix from cylinder or prism breaks, with its lower band.

The curve of EN 1992-1-1 3.1.2(6) is a straight line in ``1 − √(28 d / age)`` for the logarithm of
strength, so two figures are fitted: the 28-day strength and the speed ``s``. What is planned on is
the lower one-sided prediction bound of one more specimen. Nothing is credited past the oldest age
that was broken, and below the youngest no more than the slow curve gives: a fit is silent there.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from rules.errors import BadInput, CloseinError, Faults
from rules.strength import SLOW, Curve, StrengthModel
from rules.verdict import FloatArray

TWENTY_EIGHT_DAYS_H: Final = 28.0 * 24.0
# Least that a line and its scatter can be drawn from: three ages, two specimens each. ASTM C1074
# asks for two specimens at each of 1, 3, 7, 14 and 28 days (from memory); three of the five ages
# are common practice, no source.
LEAST_AGES: Final = 3
LEAST_SPECIMENS: Final = 6
APART: Final = 1.5  # two ages this many times apart are two ages
# What cannot be: units mixed up, a specimen that froze or fell, strength that falls with age.
MOST_MPA: Final = 120.0
LEAST_AGE_H: Final = 4.0
SPREAD: Final = 0.35  # (highest − lowest) / mean of one age; common practice, no source
SPEEDS: Final = (0.05, 1.5)  # s; EN 1992-1-1 has 0.20 to 0.38
RATIO: Final = (0.4, 4.0)  # fitted 28-day strength over the specified one


@dataclass(frozen=True, slots=True)
class Break:
    """One specimen broken."""

    age_h: float  # equivalent age at 20 °C, by its own temperature
    strength_mpa: float


@dataclass(frozen=True, slots=True)
class Missing:
    """Why there is no curve yet: what still has to be broken."""

    specimens: int
    ages: int

    def text(self) -> str:
        """Return what is missing in plain words."""
        needs = []
        if self.specimens:
            needs.append(f"{self.specimens} more {'break' if self.specimens == 1 else 'breaks'}")
        if self.ages:
            needs.append(f"{self.ages} more {'age' if self.ages == 1 else 'ages'}")
        return " and ".join(needs)


@dataclass(frozen=True, slots=True)
class FittedCurve:
    """Lower prediction bound, or the middle, of a fitted curve, as a share of a strength."""

    log_28_mpa: float
    s: float
    specified_mpa: float
    oldest_h: float  # age past which nothing more is credited
    quantile: float = 0.0  # of Student's t; 0 is the middle
    scatter: float = 0.0  # standard deviation of log strength
    specimens: int = 1
    middle_x: float = 0.0
    spread_x: float = 1.0
    youngest_h: float = 0.0  # age below which no more is credited than by ``below``
    below: Curve | None = None

    def share(self, age_h: FloatArray) -> FloatArray:
        """Return the share at an equivalent age, NaN where the age is not known."""
        with np.errstate(divide="ignore", invalid="ignore"):
            x = 1.0 - np.sqrt(TWENTY_EIGHT_DAYS_H / np.clip(age_h, 0.0, self.oldest_h))
            far = (x - self.middle_x) ** 2 / self.spread_x
            width = self.quantile * self.scatter * np.sqrt(1.0 + 1.0 / self.specimens + far)
            found = np.exp(self.log_28_mpa + self.s * x - width) / self.specified_mpa
        if self.below is not None:
            young = np.asarray(age_h) < self.youngest_h
            found = np.where(young, np.fmin(found, self.below.share(age_h)), found)
        return np.where(np.isnan(age_h), np.nan, np.where(np.asarray(age_h) > 0.0, found, 0.0))

    def age_h(self, share: float) -> float:
        """Return the first age from which the share is held, inf where it never is."""
        if share <= 0.0:
            return 0.0
        ages = np.geomspace(1.0, self.oldest_h, 4000)
        held = np.minimum.accumulate(self.share(ages)[::-1])[::-1]
        at = int(np.searchsorted(held, share))
        return float(ages[at]) if at < ages.size else math.inf


@dataclass(frozen=True, slots=True)
class Calibrated:
    """What the breaks say of the mix."""

    planned_on: StrengthModel  # the lower band
    middle: StrengthModel  # the fit itself, to be shown beside it
    strength_28_mpa: float
    s: float
    scatter: float  # standard deviation of log strength, about a share
    specimens: int
    confidence: float


def calibrate(
    breaks: Sequence[Break],
    *,
    specified_mpa: float,
    confidence: float = 0.9,
    model: StrengthModel = SLOW,
) -> Calibrated | Missing:
    """Fit a strength curve to breaks.

    Parameters
    ----------
    breaks : Break, one for each specimen
        At least six, at three ages.
    specified_mpa
        Strength that shares are of. [MPa]
    confidence
        One-sided, above 0.5 and below 1.
    model : StrengthModel
        Its rate aged the specimens, and goes on ageing the element.

    Returns
    -------
    Calibrated or Missing
        Missing says how many breaks and ages are still to come.

    Raises
    ------
    Faults
        If breaks cannot be true together; one line for each reason.
    """
    if not 0.5 < confidence < 1.0:
        raise BadInput(f"confidence of a band is {confidence}; want above 0.5 and below 1")
    faults = list(_nonsense(breaks))
    if faults:
        raise Faults(faults)
    ages = _groups(breaks)
    missing = Missing(max(LEAST_SPECIMENS - len(breaks), 0), max(LEAST_AGES - len(ages), 0))
    if missing.specimens or missing.ages:
        return missing
    x = 1.0 - np.sqrt(TWENTY_EIGHT_DAYS_H / np.array([one.age_h for one in breaks]))
    y = np.log([one.strength_mpa for one in breaks])
    spread = float(((x - x.mean()) ** 2).sum())
    s = float(((x - x.mean()) * (y - y.mean())).sum() / spread)
    log_28 = float(y.mean() - s * x.mean())
    freedom = len(breaks) - 2
    scatter = math.sqrt(float(((y - log_28 - s * x) ** 2).sum()) / freedom)
    faults = list(_misfit(s, math.exp(log_28), specified_mpa))
    if faults:
        raise Faults(faults)
    oldest = max(one.age_h for one in breaks)
    youngest = min(one.age_h for one in breaks)
    middle = FittedCurve(log_28, s, specified_mpa, oldest, youngest_h=youngest, below=model.curve)
    lower = replace(
        middle,
        quantile=student_quantile(confidence, freedom),
        scatter=scatter,
        specimens=len(breaks),
        middle_x=float(x.mean()),
        spread_x=spread,
    )
    said = (
        f"{len(breaks)} breaks of this mix, EN 1992-1-1 3.1.2(6) fitted; before the youngest "
        f"({youngest:.0f} h) no more than by the slow curve"
    )
    return Calibrated(
        planned_on=StrengthModel("breaks, lower band", model.rate, lower, said),
        middle=StrengthModel("breaks, middle", model.rate, middle, said),
        strength_28_mpa=math.exp(log_28),
        s=s,
        scatter=scatter,
        specimens=len(breaks),
        confidence=confidence,
    )


def student_quantile(confidence: float, freedom: int) -> float:
    """Return the one-sided quantile of Student's t.

    References
    ----------
    Its distribution with t = √ν tan θ: the density is proportional to cos^(ν − 1) θ.
    """
    angle = np.linspace(0.0, math.pi / 2.0, 40001)
    density = np.cos(angle) ** (freedom - 1)
    area = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2.0)])
    theta = float(np.interp(2.0 * confidence - 1.0, area / area[-1], angle))
    return math.sqrt(freedom) * math.tan(theta)


def _groups(breaks: Iterable[Break]) -> list[list[Break]]:
    """Return the breaks by age; ages close to each other are one."""
    groups: list[list[Break]] = []
    for one in sorted(breaks, key=lambda b: b.age_h):
        if groups and one.age_h < APART * groups[-1][0].age_h:
            groups[-1].append(one)
        else:
            groups.append([one])
    return groups


def _nonsense(breaks: Sequence[Break]) -> Iterable[CloseinError]:
    for one in breaks:
        if not 0.0 < one.strength_mpa <= MOST_MPA:
            yield BadInput(
                f"a break of {one.strength_mpa:g} MPa cannot be; was it given in another unit?"
            )
        if not one.age_h >= LEAST_AGE_H:
            yield BadInput(
                f"a break at {one.age_h:g} h of equivalent age is too young to say anything; "
                f"want {LEAST_AGE_H:g} h or more"
            )
    sound = [b for b in breaks if b.strength_mpa > 0.0 and b.age_h >= LEAST_AGE_H]
    for group in _groups(sound):
        same = [b.strength_mpa for b in group if b.age_h < 1.1 * group[0].age_h]
        spread = (max(same) - min(same)) / float(np.mean(same))
        if spread > SPREAD:
            yield BadInput(
                f"breaks at {group[0].age_h:.0f} h differ by {spread:.0%} of their mean; "
                "was one frozen, capped badly or written down wrong?"
            )


def _misfit(s: float, strength_28_mpa: float, specified_mpa: float) -> Iterable[CloseinError]:
    if not SPEEDS[0] <= s <= SPEEDS[1]:
        what = "falls or stands still" if s < SPEEDS[0] else "rises faster than any cement's"
        yield BadInput(f"strength {what} with age (s = {s:.2f}); were ages or breaks mixed up?")
    elif not RATIO[0] <= strength_28_mpa / specified_mpa <= RATIO[1]:
        yield BadInput(
            f"the breaks lead to {strength_28_mpa:.1f} MPa at 28 days where {specified_mpa:.1f} "
            "were specified; is it this mix, and this unit?"
        )
