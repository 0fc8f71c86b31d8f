"""A cut as text: kept as fetched, read again at any time without grid files or decoder.

Each value stands beside the GRIB2 sections that say what it is, as they came, so that a better
reading of them later changes hours and never the record.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any, Final

from rules.errors import BadInput, Faults, WeatherFileFault
from scheduler.planning.model.job import Site
from scheduler.planning.tables.hours import Finding
from scheduler.weather.grids.cells import Method
from scheduler.weather.grids.cut import CellAt, Cut, PointValue
from scheduler.weather.grids.messages import row_of
from scheduler.weather.grids.product import product_of

FORMAT: Final = "closein-grid/1"
Heads = list[tuple[int, bytes, bytes]]  # discipline, sections 1 and 4 of each point


def cut_to_text(cut: Cut, heads: Heads, site: Site, *, model: str, fetched_at: datetime) -> bytes:
    """Write a cut as JSON; ``heads`` are the sections of its points, in order."""
    runs = list(dict.fromkeys(identification for _, identification, _ in heads))
    fields = [
        {
            "grid": point.grid_key,
            "discipline": discipline,
            "run": runs.index(identification),
            "product": product.hex(),
            "value": None if math.isnan(point.value) else point.value,
        }
        for point, (discipline, identification, product) in zip(cut.points, heads, strict=True)
    ]
    told = {
        "format": FORMAT,
        "model": model,
        "fetched_at": fetched_at.isoformat(),
        "identity": cut.identity,
        "site": asdict(site),
        "cells": {key: asdict(cell) for key, cell in cut.cells.items()},
        "runs": [run.hex() for run in runs],
        "fields": fields,
        "findings": [finding.what for finding in cut.findings],
    }
    return json.dumps(told, separators=(",", ":")).encode()


def cut_from_text(raw: bytes, name: str = "grid answer") -> tuple[Cut, Site, str, datetime]:
    """Return cut, site, model and moment of fetching.

    Raises
    ------
    Faults
        If the text is no kept cut.
    """
    try:
        told = json.loads(raw)
        if told["format"] != FORMAT:
            raise ValueError(f"its format is {told['format']!r}")
        cut = Cut(
            points=tuple(_point(one, told["runs"]) for one in told["fields"]),
            cells={key: _cell(cell) for key, cell in told["cells"].items()},
            identity=str(told["identity"]),
            findings=tuple(Finding("", str(what)) for what in told["findings"]),
        )
        fetched_at = datetime.fromisoformat(told["fetched_at"])
        return cut, Site(**told["site"]), str(told["model"]), fetched_at
    except (ValueError, KeyError, TypeError, IndexError, AttributeError, BadInput) as error:
        fault = WeatherFileFault(name, "content", str(error), f"want a kept answer of {FORMAT}")
        raise Faults([fault]) from error


def _cell(told: Mapping[str, Any]) -> CellAt:
    return CellAt(**{**told, "method": Method(told["method"])})


def _point(told: Mapping[str, Any], runs: list[str]) -> PointValue:
    head = int(told["discipline"]), bytes.fromhex(runs[told["run"]])
    product = product_of(*head, bytes.fromhex(told["product"]))
    row = row_of(product)
    if row is None:
        raise ValueError(f"{product} serves no column")
    value = told["value"]
    return PointValue(row, product, str(told["grid"]), math.nan if value is None else float(value))
