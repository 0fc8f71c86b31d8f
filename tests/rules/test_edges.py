from __future__ import annotations

import numpy as np
import pytest

from rules.book import all_rows
from rules.book_rows import Row
from rules.facts import band_index
from rules.grading import grade
from rules.quantities import si_unit
from rules.units import UNITS, convert

EDGED = [row for row in all_rows()[0] if row.unit and any(b.up_to is not None for b in row.bands)]


def plain(value: float, row: Row) -> int:
    """Walk up the bands in the clause's own unit, as a person reads them."""
    for place, band in enumerate(row.bands):
        if band.up_to is None or value < band.up_to:
            return place
        if value == band.up_to and band.edge == "below":
            return place
    raise AssertionError("no band")


@pytest.mark.parametrize("row", EDGED, ids=lambda row: row.id)
def test_edges_are_exact_on_both_sides_in_the_clauses_own_unit(row: Row) -> None:
    edges = [band.up_to for band in row.bands if band.up_to is not None]
    probes = np.array([edge + step for edge in edges for step in (-0.001, 0.0, 0.001)])
    expected = [plain(probe, row) for probe in probes]
    assert [band_index(probe, row.bands) for probe in probes] == expected
    places = np.arange(len(row.bands), dtype=np.int8)
    kind = UNITS[row.unit][0]
    for unit in (u for u, known in UNITS.items() if known[0] == kind):
        # A value written in any unit of the kind, kept in SI, still meets its edge.
        there_and_back = convert(convert(probes, row.unit, unit), unit, si_unit(row.unit))
        assert grade(there_and_back, row, places, may_be_nan=False).tolist() == expected
