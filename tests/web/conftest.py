from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from starlette.testclient import TestClient

from scheduler.service import signing_in
from tests.service.made_job import Made
from tests.web.made_site import client_of, made_site


@pytest.fixture(autouse=True)
def _quick_hashes(monkeypatch: pytest.MonkeyPatch) -> None:
    """A slow hash is what the product wants; what it costs has a test of its own."""
    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(signing_in, "_hasher", lambda: quick)
    monkeypatch.setattr(signing_in, "_nobody", lambda: quick.hash("nobody's"))


@pytest.fixture
def made(tmp_path: Path) -> Made:
    return made_site(tmp_path)


@pytest.fixture
def client(made: Made) -> Iterator[TestClient]:
    with client_of(made) as one:
        yield one
