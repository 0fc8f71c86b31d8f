"""Maturity and strength of concrete, grout and mortar from their temperature.

A *rate* is equivalent hours at 20 °C gained in one hour; summed it is the equivalent age. A
*curve* turns equivalent age into a share of the 28-day strength. A ``StrengthModel`` is both.

Which one decides. At 5 °C the published rates run from 0.25 (Nurse-Saul, datum 0 °C) to 0.50
(datum −10 °C), a factor of two just where late-season work happens. A published observation,
30 to 35 % of 28-day strength after 7 days at 5 °C (UK supplier's note on cold placing), is met
by Nurse-Saul with datum 0 °C and the slow class of EN 1992-1-1 (32 %); Annex B of that standard
gives 49 %. Another source (half strength after 4 days at 70 °F, 6 at 50 °F) points to a datum near
−12 °C. A gate that opens too early drops a house, one that opens too late costs days: so ``SLOW``
decides and ``FAST`` is shown beside it as the optimistic bound.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from rules.errors import OutOfRange
from rules.verdict import FloatArray

IntArray = NDArray[np.int32]

REFERENCE_C: Final = 20.0  # every equivalent age here is at this temperature
GAS_CONSTANT: Final = 8.314  # J/mol/K, the figure ASTM C1074 prints
ROUNDING_H: Final = 1e-6  # sums of binary fractions: 4 ms of equivalent age


def degrees_above(*, temperature_c: FloatArray, datum_c: float = 0.0) -> FloatArray:
    """Temperature-time factor gained in each hour: degrees above the datum, never negative.

    Parameters
    ----------
    temperature_c : (..., hours)
        Mean temperature of the element in the hour. [°C]
    datum_c
        Temperature below which nothing is gained. [°C]

    Returns
    -------
    (..., hours)
        Gain of each hour; their sum is the temperature-time factor. NaN where not known. [°C·h]

    References
    ----------
    ASTM C1074, equation 1. Datum 0 °C for Type I without admixture (its appendix X1); a testing
    laboratory's seminar uses 14 °F (−10 °C).
    """
    return np.maximum(temperature_c - datum_c, 0.0)


def nurse_saul_rate(
    *, temperature_c: FloatArray, datum_c: float = 0.0, highest_c: float = 40.0
) -> FloatArray:
    """Equivalent hours at 20 °C gained in each hour, linear above the datum.

    Parameters
    ----------
    temperature_c : (..., hours)
        Mean temperature of the element in the hour. [°C]
    datum_c
        Nothing is gained below it. [°C]
    highest_c
        End of the stated range; a warmer hour counts as this one, never as more. [°C]

    Returns
    -------
    (..., hours)
        Rate relative to 20 °C; NaN where the temperature is not known. [h/h]

    References
    ----------
    ASTM C1074 equations 1 and X1: datum 0 °C, 0 to 40 °C for Type I without admixture.
    """
    held = np.minimum(temperature_c, highest_c)
    return degrees_above(temperature_c=held, datum_c=datum_c) / (REFERENCE_C - datum_c)


def arrhenius_rate(
    *,
    temperature_c: FloatArray,
    activation_k: float = 5000.0,
    reference_c: float = REFERENCE_C,
    zero_c_in_k: float = 273.15,
    none_below_c: float = -1.0,
) -> FloatArray:
    """Equivalent hours at the reference temperature gained in each hour.

    Parameters
    ----------
    temperature_c : (..., hours)
        Mean temperature of the element in the hour. [°C]
    activation_k
        Activation energy divided by the gas constant. [K]
    reference_c
        Temperature at which an hour counts as one hour. [°C]
    zero_c_in_k
        0 °C in kelvin; worked tables of ASTM C1074 use 273. [K]
    none_below_c
        An hour below it gains nothing: the pore water is freezing. [°C]

    Returns
    -------
    (..., hours)
        Rate; NaN where the temperature is not known. [h/h]

    References
    ----------
    ASTM C1074 equation 2. 5000 K for Type I from memory, compare with the adopted edition; a
    guide to the standard gives 33.5 kJ/mol (4029 K). −1 °C for pore water from memory.
    """
    inverse = 1.0 / (temperature_c + zero_c_in_k) - 1.0 / (reference_c + zero_c_in_k)
    rate = np.exp(-activation_k * inverse)
    return np.where(temperature_c < none_below_c, 0.0, rate)


def eurocode_rate(*, temperature_c: FloatArray, none_below_c: float = 0.0) -> FloatArray:
    """Equivalent hours gained in each hour after EN 1992-1-1, equation B.10.

    Parameters
    ----------
    temperature_c : (..., hours)
        Mean temperature of the element in the hour. [°C]
    none_below_c
        B.10 is stated for 0 to 80 °C; colder hours gain nothing, warmer ones count as 80. [°C]

    Returns
    -------
    (..., hours)
        Rate, 0.998 at 20 °C by the standard's rounded constants; NaN where not known. [h/h]
    """
    rate = np.exp(13.65 - 4000.0 / (273.0 + np.minimum(temperature_c, 80.0)))
    return np.where(temperature_c < none_below_c, 0.0, rate)


def freiesleben_hansen_pedersen_rate(
    *, temperature_c: FloatArray, none_below_c: float = -1.0
) -> FloatArray:
    """Equivalent hours at 20 °C gained in each hour, activation energy rising in the cold.

    Parameters
    ----------
    temperature_c : (..., hours)
        Mean temperature of the element in the hour. [°C]
    none_below_c
        An hour below it gains nothing: the pore water is freezing. [°C]

    Returns
    -------
    (..., hours)
        Rate; NaN where the temperature is not known. [h/h]

    References
    ----------
    P. Freiesleben Hansen and E. J. Pedersen, Nordisk Betong 1, 1977: 33.5 kJ/mol at 20 °C and
    above, 33.5 + 1.47 (20 − T) below. Constants from memory.
    """
    energy = 33_500.0 + 1470.0 * np.maximum(REFERENCE_C - temperature_c, 0.0)
    inverse = 1.0 / (temperature_c + 273.15) - 1.0 / (REFERENCE_C + 273.15)
    rate = np.exp(-energy / GAS_CONSTANT * inverse)
    return np.where(temperature_c < none_below_c, 0.0, rate)


class Rate(Protocol):
    """Anything that turns temperature into equivalent hours gained in each hour."""

    def __call__(self, *, temperature_c: FloatArray) -> FloatArray:
        """Return the rate of each hour, NaN where the temperature is not known."""
        ...


class Curve(Protocol):
    """Share of the 28-day strength against equivalent age at 20 °C, and back."""

    def share(self, age_h: FloatArray) -> FloatArray:
        """Return the share reached at an equivalent age, NaN where the age is not known."""
        ...

    def age_h(self, share: float) -> float:
        """Return the equivalent age at which a share is reached, inf where it never is."""
        ...


@dataclass(frozen=True, slots=True)
class EurocodeCurve:
    """EN 1992-1-1 3.1.2(6): s = 0.20 for class R cement, 0.25 for N, 0.38 for S.

    The slow class follows ACI 209R Type I closely in the first week, so it stands for plain
    grout and mortar until a supplier's curve or breaks are given.
    """

    s: float

    def share(self, age_h: FloatArray) -> FloatArray:
        """Return exp(s (1 − √(28/t))), zero at age zero."""
        with np.errstate(divide="ignore"):
            root = np.sqrt(28.0 * 24.0 / np.maximum(age_h, 0.0))
        return np.exp(self.s * (1.0 - root))

    def age_h(self, share: float) -> float:
        """Return the age at which a share is reached."""
        _share(share)
        return float(28.0 * 24.0 / (1.0 - np.log(share) / self.s) ** 2) if share > 0.0 else 0.0


@dataclass(frozen=True, slots=True)
class Aci209Curve:
    """ACI 209R, moist cured: t/(a + b t), days. Constants from memory, verify.

    Type I 4.0 and 0.85, Type III 2.3 and 0.92.
    """

    a: float = 4.0
    b: float = 0.85

    def share(self, age_h: FloatArray) -> FloatArray:
        """Return the share at an equivalent age."""
        days = np.maximum(age_h, 0.0) / 24.0
        return days / (self.a + self.b * days)

    def age_h(self, share: float) -> float:
        """Return the age at which a share is reached."""
        _share(share)
        left = 1.0 - self.b * share
        return 24.0 * self.a * share / left if left > 0.0 else float("inf")


@dataclass(frozen=True, slots=True)
class HyperbolicCurve:
    """Carino's hyperbola of ASTM C1074 appendix X: Su k (t − t0) / (1 + k (t − t0)).

    ``ultimate`` is Su as a share of the 28-day strength, ``rate_per_day`` is k, ``dead_h`` is t0.
    """

    ultimate: float
    rate_per_day: float
    dead_h: float = 0.0

    def share(self, age_h: FloatArray) -> FloatArray:
        """Return the share at an equivalent age, zero until hardening starts."""
        grown = self.rate_per_day * np.maximum(age_h - self.dead_h, 0.0) / 24.0
        return self.ultimate * grown / (1.0 + grown)

    def age_h(self, share: float) -> float:
        """Return the age at which a share is reached."""
        _share(share)
        left = self.ultimate - share
        return (
            self.dead_h + 24.0 * share / (self.rate_per_day * left) if left > 0 else float("inf")
        )


@dataclass(frozen=True, slots=True)
class Reached:
    """A bound on what was gained, in place of a strength: an engineer's degree-hours or days."""

    need_h: float

    def share(self, age_h: FloatArray) -> FloatArray:
        """Return the share of the bound that is reached."""
        return np.minimum(np.maximum(age_h, 0.0) / self.need_h, 1.0)

    def age_h(self, share: float) -> float:
        """Return the gain at which a share of the bound is reached."""
        _share(share)
        return share * self.need_h


@dataclass(frozen=True, slots=True)
class StrengthModel:
    """How a mix ages with temperature and gains strength with age."""

    name: str
    rate: Rate
    curve: Curve
    source: str


SLOW: Final = StrengthModel(
    name="Nurse-Saul from 0 °C, EN 1992-1-1 class S",
    rate=nurse_saul_rate,
    curve=EurocodeCurve(0.38),
    source="ASTM C1074; EN 1992-1-1 3.1.2(6), s = 0.38",
)
FAST: Final = StrengthModel(
    name="EN 1992-1-1 Annex B, class N",
    rate=eurocode_rate,
    curve=EurocodeCurve(0.25),
    source="EN 1992-1-1 (B.10) and 3.1.2(6), s = 0.25",
)


def cumulative_age_h(*, rate: FloatArray, step_h: float = 1.0) -> FloatArray:
    """Equivalent age at each moment, from the rates of the hours between.

    Parameters
    ----------
    rate : (..., hours)
        Equivalent hours gained in each hour. [h/h]
    step_h
        Length of one step. [h]

    Returns
    -------
    (..., hours + 1)
        Age at the beginning of each hour and at the end of the last; NaN after a gap. [h]
    """
    age = np.zeros((*rate.shape[:-1], rate.shape[-1] + 1))
    np.cumsum(rate * step_h, axis=-1, out=age[..., 1:])
    return age


def hours_to_share(
    *, temperature_c: FloatArray, share: float, model: StrengthModel = SLOW
) -> IntArray:
    """First moment at which work finished at each moment has a share of its strength.

    Parameters
    ----------
    temperature_c : (..., hours)
        Mean temperature of the element in each hour; the air's is the first guess. [°C]
    share
        Share of the 28-day strength asked for, 0 to 1.
    model
        Rate and curve.

    Returns
    -------
    (..., hours + 1)
        For work finished at the beginning of hour f (the last entry: at the end of the trace)
        the first whole hour at which the share is there. ``hours + 1`` where the trace does not
        show it: it ends before, or a gap lies between.

    Raises
    ------
    OutOfRange
        If the share leaves 0 to 1.
    """
    need_h = model.curve.age_h(share)
    return hours_to_age(rate=model.rate(temperature_c=temperature_c), need_h=need_h)


def hours_to_age(
    *, rate: FloatArray, need_h: float | FloatArray, begin: IntArray | None = None
) -> IntArray:
    """First moment at which work finished at each moment has gained an equivalent age.

    Parameters
    ----------
    rate : (..., hours)
        Equivalent hours gained in each hour, NaN where not known. [h/h]
    need_h : number or (..., finishes)
        Equivalent age asked for. [h]
    begin : (finishes,), optional
        Moment from which gains count for each finish; every moment of the trace where not given.

    Returns
    -------
    (..., finishes)
        As ``hours_to_share``.
    """
    hours = rate.shape[-1]
    unknown = np.isnan(rate)
    age = cumulative_age_h(rate=np.where(unknown, 0.0, rate))
    moments = np.arange(hours + 1, dtype=np.int32) if begin is None else begin
    wanted = (age if begin is None else age[..., begin]) + (need_h - ROUNDING_H)
    rows = wanted.reshape(-1, moments.size)
    pairs = zip(age.reshape(-1, hours + 1), rows, strict=True)
    reached = np.stack([row.searchsorted(target) for row, target in pairs]).astype(np.int32)
    reached = np.maximum(reached.reshape(wanted.shape), moments)
    if unknown.any():
        reached[reached > _next_gap(unknown)[..., moments]] = hours + 1
    return reached


def _next_gap(unknown: NDArray[np.bool_]) -> IntArray:
    """Return for each moment the first hour not known at or after it, ``hours`` if none."""
    hours = unknown.shape[-1]
    gap = np.full((*unknown.shape[:-1], hours + 1), hours, dtype=np.int32)
    gap[..., :-1] = np.where(unknown, np.arange(hours, dtype=np.int32), np.int32(hours))
    return np.minimum.accumulate(gap[..., ::-1], axis=-1)[..., ::-1]


def _share(share: float) -> None:
    if not 0.0 <= share <= 1.0:
        raise OutOfRange(f"share of strength is {share}; want 0 to 1, not percent")
