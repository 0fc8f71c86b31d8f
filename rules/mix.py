"""Heat balance of mortar, grout and concrete: the mix, and the water that brings it there.

References
----------
Cement Association of Canada, chapter 17, Cold-Weather Concreting (CSA A23.1): solids hold 0.22
times the heat of water. Frozen aggregate takes another 334 kJ for each kg of ice, from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from rules.errors import OutOfRange

SOLIDS: Final = 0.22  # heat held by aggregate and cement over that of water
ICE_C: Final = 334.0 / 4.186  # degrees by which melting a kg of ice cools a kg of water


@dataclass(frozen=True, slots=True)
class Batch:
    """Masses in kg (or any one unit of mass) and temperatures in °C."""

    aggregate_kg: float
    cement_kg: float
    water_kg: float
    aggregate_c: float
    cement_c: float
    free_water_kg: float = 0.0  # on the aggregate, at the aggregate's temperature
    ice_share: float = 0.0  # of the free water that is frozen

    def __post_init__(self) -> None:
        masses = (self.aggregate_kg, self.cement_kg, self.water_kg, self.free_water_kg)
        if min(masses) < 0 or sum(masses) <= 0 or not 0 <= self.ice_share <= 1:
            raise OutOfRange(
                "masses of a batch are negative or all zero, or ice is over the whole"
            )

    @property
    def _held(self) -> float:
        solids = SOLIDS * (self.aggregate_kg + self.cement_kg)
        return solids + self.water_kg + self.free_water_kg

    @property
    def _brought(self) -> float:
        solids = SOLIDS * (self.aggregate_kg * self.aggregate_c + self.cement_kg * self.cement_c)
        melted = self.ice_share * self.free_water_kg * ICE_C
        return solids + self.free_water_kg * self.aggregate_c - melted


def mixed_c(batch: Batch, *, water_c: float) -> float:
    """Return the temperature of the mix in °C."""
    return (batch._brought + batch.water_kg * water_c) / batch._held


def water_needed_c(batch: Batch, *, mixed_c: float) -> float:
    """Return the temperature in °C of mixing water that brings the mix to a temperature.

    Raises
    ------
    OutOfRange
        If the batch takes no mixing water.
    """
    if batch.water_kg <= 0:
        raise OutOfRange("the batch takes no mixing water, so water cannot warm it")
    return (mixed_c * batch._held - batch._brought) / batch.water_kg
