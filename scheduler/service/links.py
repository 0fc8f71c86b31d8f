"""Links to the pages of a job: one a person, given and withdrawn by records that stay.

Of a link the store keeps the SHA-256 only: who reads the store cannot open a page with it.
"""

from __future__ import annotations

import secrets
from datetime import datetime
from hashlib import sha256
from typing import Final

from rules.errors import BadInput
from rules.text import strange_in
from scheduler.interfaces.people import Link
from scheduler.interfaces.protocols import Store

TOKEN_BYTES: Final = 32
MOST_NAME: Final = 80


def give(store: Store, job: str, who: str, *, now: datetime, may_log: bool = False) -> str:
    """Return a new token for a person; older links of theirs stay until withdrawn.

    Raises
    ------
    BadInput
        If that is no person's name.
    """
    named = person(who)
    token = secrets.token_urlsafe(TOKEN_BYTES)
    store.people.give_link(Link(job, named, digest_of(token), may_log, now))
    return token


def person(name: str) -> str:
    """Return a person's name on one line, single spaces inside.

    Raises
    ------
    BadInput
        If it is empty, too long, or holds a character that no name has.
    """
    strange = strange_in(name)
    named = " ".join(name.split())
    if not named or len(named) > MOST_NAME or strange:
        told = f"it holds {strange}; " if strange else ""
        raise BadInput(f"{name!r}: {told}want a person's name of up to {MOST_NAME} characters")
    return named


def withdraw(store: Store, job: str, who: str, *, now: datetime) -> int:
    """Withdraw every link of a person and return how many there were.

    Raises
    ------
    BadInput
        If the person has none.
    """
    count = store.people.withdraw_links(job, who.strip(), now=now)
    if not count:
        raise BadInput(f"{who!r} has no link to {job}")
    return count


def link_of(store: Store, token: str) -> Link | None:
    """Return the link that a token opens; None where it is forged, or withdrawn."""
    return store.people.link(digest_of(token))


def digest_of(token: str) -> str:
    """Return what is kept of a token; 256 random bits need no slow hash."""
    return sha256(token.encode()).hexdigest()
