"""Compressive strength of masonry from its units and mortar, by the table of an edition."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources
from typing import Any, Final, Literal

import numpy as np

from rules.errors import OutOfRange

Mortar = Literal["M", "S", "N"]
COLUMN: Final = {"M": "m_or_s_psi", "S": "m_or_s_psi", "N": "n_psi"}


@cache
def _tables() -> dict[str, Any]:
    text = resources.files("rules").joinpath("book/unit_strength.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def masonry_strength_psi(
    *, unit_strength_psi: float, mortar: Mortar, table: str, unit_height_in: float = 7.625
) -> float | None:
    """Return f'm by the unit-strength method; None where the units are weaker than the table.

    Between rows it is interpolated; past the strongest row it stays that row's.

    Parameters
    ----------
    unit_strength_psi
        Net area compressive strength of the units. [psi]
    mortar
        ASTM C270 type.
    table
        A set of the book that holds a table: ``unit-strength-2011`` or ``unit-strength-2013-on``.
    unit_height_in
        Nominal 8-inch units are 7 5/8 in. high. [in]

    Raises
    ------
    OutOfRange
        If no table has that name.
    """
    tables = _tables()
    if not isinstance(tables.get(table), dict):
        raise OutOfRange(f"no unit-strength table {table!r}")
    chosen = tables[table]
    units = np.array(chosen[COLUMN[mortar]], dtype=np.float64)
    masonry = np.array(chosen["fm_psi"], dtype=np.float64)[: units.size]
    if unit_strength_psi < units[0]:
        return None
    share = tables["low_unit_share"] if unit_height_in < tables["low_unit_in"] else 1.0
    return float(share * np.interp(unit_strength_psi, units, masonry))
