"""Tests that are known to fail, each with its reason; whoever mends one takes its line out."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("closein", deadline=None)  # no test hangs on the machine's load
settings.load_profile("closein")

# A scenario for each past year of the demo, in this process and those it starts; what is about
# the odds themselves asks for more.
os.environ["CLOSEIN_SCENARIOS"] = "24"

LIST = Path(__file__).with_name("known_open.txt")


def known_open() -> dict[str, str]:
    """Return the reason by the beginning of a test's id; lines are ``id | reason``."""
    lines = [line for line in LIST.read_text(encoding="utf-8").splitlines() if "|" in line]
    return {
        name.strip(): reason.strip() for name, _, reason in (li.partition("|") for li in lines)
    }


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    told = known_open()
    for item in items:
        if item.nodeid in told:
            item.add_marker(pytest.mark.xfail(reason=told[item.nodeid], strict=False))
