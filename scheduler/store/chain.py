"""The chain of records: each carries the hash of the one before, so a change shows.

SHA-256 (FIPS 180-4) over the record's own fields and the hash before it, written as a JSON list
so that no two different records are written alike.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

FIRST: Final = "0" * 64  # what stands before the first record
MARK: Final = "closein-record/1"


@dataclass(frozen=True, slots=True)
class Record:
    """One line of one stream (log, forecast, decision) of one job, as it stands in the store."""

    job: str
    stream: str
    seq: int  # first is 1, no number is left out
    at: str  # UTC, see ``rows.stamp``
    entered_at: str
    kind: str
    body: str  # JSON
    previous: str
    hash: str


def identity(raw: bytes) -> str:
    """Return the name of some bytes: their SHA-256."""
    return hashlib.sha256(raw).hexdigest()


def record_hash(
    *,
    job: str,
    stream: str,
    seq: int,
    at: str,
    entered_at: str,
    kind: str,
    body: str,
    previous: str,
) -> str:
    """Return the hash that a record carries."""
    fields = [MARK, job, stream, seq, at, entered_at, kind, body, previous]
    return identity(json.dumps(fields, ensure_ascii=True, separators=(",", ":")).encode())


def breaks(records: Iterable[Record]) -> Iterator[str]:
    """Yield a line for each record of one stream that does not follow from the one before."""
    seq, previous = 0, FIRST
    for record in records:
        name = f"{record.stream} {record.seq} of {record.job}"
        if record.seq != seq + 1:
            yield f"{name}: {seq + 1} to {record.seq - 1} were taken out before it"
        elif record.previous != previous:
            yield f"{name}: does not follow the record before it"
        made = record_hash(
            job=record.job,
            stream=record.stream,
            seq=record.seq,
            at=record.at,
            entered_at=record.entered_at,
            kind=record.kind,
            body=record.body,
            previous=record.previous,
        )
        if made != record.hash:
            yield f"{name}: was changed after it was written"
        seq, previous = record.seq, record.hash
