"""The lowest versions that pyproject.toml allows are those that the lowest lock installs."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
NAMED = re.compile(r"([\w.-]+)(?:\[[\w,]+\])?>=([\w.]+)")
# Below these are published advisories (the libraries' own security pages on GitHub): of pillow
# CVE-2026-25990, -40192, -42309; of jinja2 CVE-2025-27516; of requests CVE-2024-47081, the last
# two from memory; python-multipart and starlette as told by whoever looked them up.
SAFE_FROM = {
    "jinja2": "3.1.6",
    "pillow": "12.2",
    "python-multipart": "0.0.31",
    "requests": "2.32.4",
    "starlette": "1.3.1",
}


def version(text: str) -> tuple[int, ...]:
    """Return a version's numbers without noughts at the end: 2.8 and 2.8.0 are one."""
    numbers = [int(part) for part in text.split(".") if part.isdigit()]
    while numbers and numbers[-1] == 0:
        numbers.pop()
    return tuple(numbers)


def bounds() -> dict[str, str]:
    told = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    project = told["project"]
    every = [*project["dependencies"], *told["build-system"]["requires"]]
    every += [one for extra in project["optional-dependencies"].values() for one in extra]
    found = [NAMED.match(one) for one in every]
    assert all(found)
    return {one[1].lower(): one[2] for one in found if one}


def locked(name: str) -> dict[str, str]:
    lines = (ROOT / name).read_text(encoding="utf-8").splitlines()
    pairs = [line.split("==") for line in lines if not line.startswith("#")]
    return {re.sub(r"[._]", "-", name): version for name, version in pairs}


@pytest.mark.parametrize(("name", "bound"), bounds().items())
def test_a_lower_bound_is_the_version_that_was_tried(name: str, bound: str) -> None:
    lowest = locked("requirements-lowest.lock")[re.sub(r"[._]", "-", name)]
    assert version(lowest) == version(bound)
    newest = locked("requirements.lock")[re.sub(r"[._]", "-", name)]
    assert version(newest) >= version(lowest)


@pytest.mark.parametrize(("name", "safe"), SAFE_FROM.items())
def test_no_bound_lets_in_a_version_with_a_published_advisory(name: str, safe: str) -> None:
    assert version(bounds()[name]) >= version(safe)


def test_the_lowest_can_be_tried() -> None:
    assert "requirements-lowest.lock" in (ROOT / "Makefile").read_text(encoding="utf-8")
