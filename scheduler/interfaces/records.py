"""What the store keeps beside the log: forecasts as they came, and answers with their inputs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime


@dataclass(frozen=True, slots=True)
class KeptForecast:
    """A weather file or answer as it came; its bytes are found by ``identity``."""

    identity: str  # SHA-256 of the bytes
    role: str  # weather, observed, climate
    source: str  # what reads it again: a source's name, or a file's
    issued_at: datetime | None  # UTC; None where the source does not say
    received_at: datetime  # UTC; when it first came


@dataclass(frozen=True, slots=True)
class Inputs:
    """Everything an answer was made from, enough to make it again."""

    job_text: bytes  # the job file as it stood
    log_position: int  # number of the last log entry that was there; 0: none
    forecasts: tuple[tuple[str, str], ...] = ()  # role and identity, in the order of use
    book: str = ""  # SHA-256 of the rule book
    seed: int = 0
    versions: Mapping[str, str] = field(default_factory=dict)  # of the libraries
    options: Mapping[str, str] = field(default_factory=dict)  # command and its options


@dataclass(frozen=True, slots=True)
class Decision:
    """An answer as it was given."""

    seq: int
    kind: str  # today, plan, check, brief, ...
    at: datetime  # UTC; the moment it answers for
    entered_at: datetime  # UTC; when it was kept
    answer: bytes  # as printed with --json
    inputs: Inputs
    log_head: str  # hash of the last log entry that was there
    hash: str  # this record's own
