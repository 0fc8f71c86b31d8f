"""What the store keeps of people: accounts, sessions and links to a job's pages."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class Role(StrEnum):
    """What an account may do on every job."""

    OWNER = "owner"  # read, log, give and withdraw links
    CREW = "crew"  # read and log
    READER = "reader"  # read


@dataclass(frozen=True, slots=True)
class Account:
    """A named person who signs in with a password."""

    name: str  # a person's: it stands under what they release
    role: Role
    releases: tuple[str, ...]  # roles in whose name they may release a hold: engineer, inspector
    secret: str  # the password's hash, as its library writes it; never the password
    changed_at: datetime
    closed: bool = False


@dataclass(frozen=True, slots=True)
class Session:
    """One signing-in of an account, from one browser."""

    digest: str  # SHA-256 of the token
    name: str
    begun_at: datetime
    until: datetime


@dataclass(frozen=True, slots=True)
class Link:
    """Who may read a job's pages by an address of their own."""

    job: str
    who: str
    digest: str  # SHA-256 of the token
    may_log: bool  # may write on the log page as well
    given_at: datetime


@dataclass(frozen=True, slots=True)
class Photo:
    """A picture from the site, as it came."""

    identity: str  # SHA-256 of its bytes
    media_type: str
    size: int  # bytes
    who: str
    at: datetime  # UTC; when it came


@dataclass(frozen=True, slots=True)
class Seen:
    """Who has opened an answer first when."""

    decision: int
    who: str
    at: datetime
