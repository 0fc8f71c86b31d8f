"""A made service with its pages, a morning made, and ways to ask as this or that person."""

from __future__ import annotations

import atexit
import re
import shutil
from datetime import timedelta
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

from starlette.testclient import TestClient

from scheduler.interfaces.people import Role
from scheduler.service.links import give
from scheduler.service.replans import replan_due
from scheduler.service.rounds import round_of
from scheduler.service.signing_in import open_account
from scheduler.startup_service import pages
from tests.service.made_job import Made, made_job, made_service, utc

MORNING = utc(2026, 11, 9, 10, 30)
BAD = "<script>alert(1)</script>"
JOB = "north-end-lift"
PASSWORD = "eleven cold courses of block"
FORM = {"what": "lost", "hours": "4", "cause": "rain", "key": "k" * 24, "by": "A. Ryd"}


def made_site(folder: Path, **more: str) -> Made:
    """Return a service that has made its morning; the task's name is an attack."""
    job = made_job(folder, task=f"'{BAD}'", **more)
    shutil.copy(_with_morning(tuple(more.items())), folder / "closein.db")
    made = made_service(folder / "closein.db", job, utc(2026, 11, 9, 3))
    made.clock.now = MORNING + timedelta(minutes=1)  # its morning took some of it
    return made


@cache
def _with_morning(more: tuple[tuple[str, str], ...]) -> Path:
    """Make a morning once for all tests of this process; each has a copy of the store."""
    folder = Path(mkdtemp(prefix="closein-made-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    job = made_job(folder, task=f"'{BAD}'", **dict(more))
    made = made_service(folder / "closein.db", job, utc(2026, 11, 9, 3))
    made.clock.now = MORNING
    round_of(made.service)
    made.service.store.close()
    return folder / "closein.db"


def client_of(made: Made) -> TestClient:
    return TestClient(pages(made.service), follow_redirects=False)


def link(made: Made, who: str = "A. Ryd", *, may_log: bool = False) -> str:
    """Return the root of a person's pages."""
    token = give(made.service.store, JOB, who, now=MORNING, may_log=may_log)
    return f"/p/{token}/"


def sign_in(
    made: Made,
    client: TestClient,
    name: str = "B. Lund",
    *,
    role: Role = Role.OWNER,
    releases: tuple[str, ...] = (),
) -> None:
    """Open an account and sign in with this client."""
    open_account(
        made.service.store, name, PASSWORD, role=role, releases=releases, now=made.clock.now
    )
    answer = client.post("/login", data={"name": name, "password": PASSWORD})
    assert answer.status_code == 303, answer.text


def csrf_of(client: TestClient, path: str) -> str:
    found = re.search(r'name="csrf" value="([0-9a-f]{64})"', client.get(path).text)
    assert found is not None
    return found[1]


def entries(made: Made) -> list[tuple[str, str, float | None]]:
    return [(e.kind.value, e.who, e.hours) for e in made.service.store.entries(JOB)]


def replanned(made: Made) -> None:
    """Move the clock a minute and plan again what was written down."""
    made.clock.now += timedelta(minutes=1)
    replan_due(made.service)
