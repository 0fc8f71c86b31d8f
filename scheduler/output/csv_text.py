"""CSV that a spreadsheet opens without running anything."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Final

# A cell that begins so is a formula to a spreadsheet (OWASP, CSV injection).
FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


def csv_text(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Return rows as CSV (RFC 4180); a text that would be a formula gets a leading apostrophe."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(header)
    for row in rows:
        writer.writerow([_safe(cell) for cell in row])
    return out.getvalue()


def _safe(cell: object) -> object:
    if isinstance(cell, str) and cell.startswith(FORMULA):
        return f"'{cell}"
    return cell
