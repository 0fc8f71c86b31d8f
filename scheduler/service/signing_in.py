"""Accounts and sessions: a password of one's own, a session that ends, and no guessing.

Passwords are hashed with Argon2id (RFC 9106) by its library at its own settings. Lengths after
NIST SP 800-63B-4, section 3.1.1.2: 15 characters where a password stands alone, 64 and more are
taken, no rule of composition. How often may be tried is common practice, no source.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING, Final

from rules.errors import BadInput
from scheduler.interfaces.people import Account, Role, Session
from scheduler.interfaces.protocols import Store
from scheduler.service.links import TOKEN_BYTES, digest_of, person

if TYPE_CHECKING:
    from argon2 import PasswordHasher

LEAST, MOST = 15, 256  # characters of a password
LASTS: Final = timedelta(days=14)  # of a session; common practice, no source
FORGIVEN: Final = timedelta(minutes=15)  # failures older than this count no more
TRIES: Final = 5  # failures of one name from one address
TRIES_ADDRESS: Final = 20  # of one address, whatever the name
TRIES_NAME: Final = 50  # of one name, whatever the address


@dataclass(frozen=True, slots=True)
class SignedIn:
    """A session that has begun; the token goes into the browser's cookie and nowhere else."""

    token: str
    account: Account
    until: datetime


def open_account(
    store: Store,
    name: str,
    password: str,
    *,
    role: Role,
    releases: tuple[str, ...] = (),
    now: datetime,
) -> Account:
    """Open an account, or give one a new password, role and rights; it is signed out everywhere.

    Raises
    ------
    BadInput
        If the name is no person's name, or the password too short or long.
    """
    named = person(name)
    if not LEAST <= len(password) <= MOST:
        raise BadInput(f"the password has {len(password)} characters; want {LEAST} to {MOST}")
    if password.casefold().strip() == named.casefold():
        raise BadInput("the password is the name; choose another")
    account = Account(named, role, releases, _hasher().hash(password), now)
    with store.together():
        store.people.put_account(account)
        store.people.end_sessions(named)
    return account


def close_account(store: Store, name: str, *, now: datetime) -> None:
    """Close an account; it is signed out everywhere, and its entries stay.

    Raises
    ------
    BadInput
        If no open account has that name.
    """
    account = store.people.account(name)
    if account is None:
        raise BadInput(f"no open account is called {name!r}")
    store.people.put_account(replace(account, closed=True, changed_at=now))


def sign_in(
    store: Store, name: str, password: str, *, address: str, now: datetime
) -> SignedIn | None:
    """Begin a session; None where name and password do not belong together.

    A name that is not there takes as long as one that is.
    """
    account = store.people.account(name)
    known = account.secret if account is not None else _nobody()
    if not _right(known, password) or account is None:
        for who in _counted(name, address):
            store.people.failed(who, now=now, forget=now - FORGIVEN)
        return None
    if _hasher().check_needs_rehash(account.secret):
        account = replace(account, secret=_hasher().hash(password), changed_at=now)
        store.people.put_account(account)
    token = secrets.token_urlsafe(TOKEN_BYTES)
    store.people.begin_session(Session(digest_of(token), account.name, now, now + LASTS))
    store.people.forget_failures(f"both {name} {address}")
    return SignedIn(token, account, now + LASTS)


def wait_s(store: Store, name: str, *, address: str, now: datetime) -> int:
    """Return for how many seconds a name or address is not let try again; 0: it may."""
    since = now - FORGIVEN
    limits = zip(_counted(name, address), (TRIES, TRIES_ADDRESS, TRIES_NAME), strict=True)
    if any(store.people.failures(who, since=since) >= most for who, most in limits):
        return int(FORGIVEN.total_seconds())
    return 0


def session_of(store: Store, token: str, *, now: datetime) -> Account | None:
    """Return whose session a token is; None where it is forged, ended or of a closed account."""
    found = store.people.session(digest_of(token), now=now)
    return None if found is None else found[1]


def _counted(name: str, address: str) -> tuple[str, str, str]:
    return f"both {name} {address}", f"address {address}", f"name {name}"


def _right(known: str, password: str) -> bool:
    from argon2.exceptions import VerifyMismatchError

    try:
        return _hasher().verify(known, password[: MOST + 1])
    except VerifyMismatchError:
        return False


@cache
def _hasher() -> PasswordHasher:
    from argon2 import PasswordHasher

    return PasswordHasher()


@cache
def _nobody() -> str:
    """Return the hash of a password that nobody knows."""
    return _hasher().hash(secrets.token_urlsafe(TOKEN_BYTES))
