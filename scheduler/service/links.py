"""Links to the pages of a job: one a person, given and withdrawn by entries that stay.

Of a link the store keeps the SHA-256 only: who reads the store cannot open a page with it.
"""

from __future__ import annotations

import json
import secrets
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Final

from rules.errors import BadInput
from scheduler.interfaces import Store
from scheduler.planning.records import Inputs

LINK: Final = "link"  # the kind under which they are kept
TOKEN_BYTES: Final = 32


@dataclass(frozen=True, slots=True)
class Link:
    """Who may read a job's pages."""

    job: str
    who: str
    digest: str  # SHA-256 of the token
    may_log: bool  # may write on the log page as well
    given_at: datetime


def links(store: Store, job: str) -> dict[str, Link]:
    """Return the links of a job that stand, by their digest."""
    standing: dict[str, Link] = {}
    for kept in store.decisions(job, kind=LINK):
        told = json.loads(kept.answer)
        if told["withdrawn"]:
            standing = {d: link for d, link in standing.items() if link.who != told["who"]}
        else:
            standing[told["digest"]] = Link(
                job, told["who"], told["digest"], told["may_log"], kept.at
            )
    return standing


def give(store: Store, job: str, who: str, *, now: datetime, may_log: bool = False) -> str:
    """Return a new token for a person; older links of theirs stay until withdrawn.

    Raises
    ------
    BadInput
        If nobody is named.
    """
    if not who.strip():
        raise BadInput("--who is empty; name the person who gets the link")
    token = secrets.token_urlsafe(TOKEN_BYTES)
    told = {"who": who.strip(), "digest": digest_of(token), "may_log": may_log}
    _keep(store, job, {**told, "withdrawn": False}, now)
    return token


def withdraw(store: Store, job: str, who: str, *, now: datetime) -> int:
    """Withdraw every link of a person and return how many there were.

    Raises
    ------
    BadInput
        If the person has none.
    """
    own = [link for link in links(store, job).values() if link.who == who.strip()]
    if not own:
        raise BadInput(f"{who!r} has no link to {job}")
    _keep(store, job, {"who": who.strip(), "digest": "", "withdrawn": True}, now)
    return len(own)


def link_of(store: Store, token: str) -> Link | None:
    """Return the link that a token opens; None where it is forged, or withdrawn."""
    wanted = digest_of(token)
    for job in store.jobs():
        for digest, link in links(store, job).items():
            if secrets.compare_digest(digest, wanted):
                return link
    return None


def digest_of(token: str) -> str:
    """Return what is kept of a token."""
    return sha256(token.encode()).hexdigest()


def _keep(store: Store, job: str, told: dict[str, object], now: datetime) -> None:
    text = json.dumps(told, sort_keys=True).encode()
    store.keep_decision(
        job, LINK, text, Inputs(job_text=b"", log_position=0), at=now, entered_at=now
    )
