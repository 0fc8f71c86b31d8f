"""Whoever asks for a page: by a link of their own or by an account, and what they may do."""

from __future__ import annotations

from dataclasses import dataclass

from scheduler.interfaces.people import Account, Link, Role


@dataclass(frozen=True, slots=True)
class Visitor:
    """One person at one job."""

    job: str
    who: str
    may_log: bool = False
    releases: tuple[str, ...] = ()  # roles in whose name they may release a hold
    is_owner: bool = False  # may give and withdraw links


def by_link(link: Link) -> Visitor:
    """Return who comes by a link; a link releases nothing and gives no links."""
    return Visitor(link.job, link.who, may_log=link.may_log)


def by_account(account: Account, job: str) -> Visitor:
    """Return who has signed in."""
    return Visitor(
        job,
        account.name,
        may_log=account.role in {Role.OWNER, Role.CREW},
        releases=account.releases,
        is_owner=account.role is Role.OWNER,
    )
