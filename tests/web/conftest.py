from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from tests.service.made_job import Made
from tests.web.made_site import client_of, made_site


@pytest.fixture
def made(tmp_path: Path) -> Made:
    return made_site(tmp_path)


@pytest.fixture
def client(made: Made) -> Iterator[TestClient]:
    with client_of(made) as one:
        yield one
