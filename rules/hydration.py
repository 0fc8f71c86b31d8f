"""Heat of hydration of concrete and grout by equivalent age.

The heat set free is ``total × ultimate × exp(−(tau / age)^beta)``, the three-parameter exponential
form; equivalent age grows with temperature after Freiesleben Hansen and Pedersen, so cold cement
gives its heat late and frozen cement gives none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from rules.errors import OutOfRange
from rules.strength import freiesleben_hansen_pedersen_rate
from rules.verdict import FloatArray


@dataclass(frozen=True, slots=True)
class Hydration:
    """Heat of one cement in one mix.

    References
    ----------
    A. K. Schindler and K. J. Folliard, Heat of Hydration Models for Cementitious Materials, ACI
    Materials Journal 102-M04, 2005: the form, and ``ultimate = 1.031 w/c / (0.194 + w/c)`` after
    Mills. Heat and times of the instances below are typical figures from memory, verify; the low
    side is taken because a colder answer is the safer one.
    """

    name: str
    heat_j_kg: float  # of complete hydration
    ultimate: float  # degree of hydration reached in the end, 0 to 1
    tau_h: float
    beta: float

    def __post_init__(self) -> None:
        if min(self.heat_j_kg, self.tau_h, self.beta) <= 0.0 or not 0.0 < self.ultimate <= 1.0:
            raise OutOfRange(f"{self} cannot be a hydration curve")

    def released_j_kg(self, age_h: FloatArray) -> FloatArray:
        """Return the heat given by each kilogram of cement up to an equivalent age at 20 °C."""
        with np.errstate(divide="ignore"):
            delay = (self.tau_h / np.maximum(age_h, 0.0)) ** self.beta
        return self.heat_j_kg * self.ultimate * np.exp(-delay)


def ageing_rate(*, temperature_c: FloatArray) -> FloatArray:
    """Return equivalent hours at 20 °C that the cement ages in each hour.

    Freiesleben Hansen and Pedersen above 0 °C; from there it falls evenly to nothing at −1 °C, as
    the pore water freezes over a range and not at once.
    """
    liquid = np.clip(temperature_c + 1.0, 0.0, 1.0)
    return freiesleben_hansen_pedersen_rate(temperature_c=temperature_c) * liquid


def ultimate_degree(water_cement: float) -> float:
    """Return the degree of hydration that a water-cement ratio allows.

    References
    ----------
    R. H. Mills, Factors Influencing Cessation of Hydration in Water Cured Cement Pastes, Highway
    Research Board Special Report 90, 1966: 1.031 w/c / (0.194 + w/c).
    """
    return 1.031 * water_cement / (0.194 + water_cement)


TYPE_I_II: Final = Hydration("Type I/II", 440e3, 0.72, tau_h=16.0, beta=0.85)
TYPE_III: Final = Hydration("Type III", 470e3, 0.75, tau_h=11.0, beta=1.0)
BLENDED: Final = Hydration(
    "Type IL, IP or with slag or fly ash", 380e3, 0.70, tau_h=22.0, beta=0.8
)
BY_CEMENT: Final = {
    "type_i_ii": TYPE_I_II,
    "type_iii": TYPE_III,
    "type_iii_with_slag": BLENDED,
    "type_iii_with_fly_ash": BLENDED,
    "type_il": BLENDED,
    "type_ip": BLENDED,
}
