"""Each benchmark can be run by itself, prints, and its exit code is its own verdict."""

from __future__ import annotations

import pkgutil
from pathlib import Path

import pytest

import tests.benchmarks as package

OWN = [one.name for one in pkgutil.iter_modules(package.__path__) if not one.name.startswith("_")]


@pytest.mark.parametrize("name", OWN)
def test_a_benchmark_run_as_a_module_says_whether_its_aims_are_met(name: str) -> None:
    text = (Path(package.__path__[0]) / f"{name}.py").read_text(encoding="utf-8")
    assert text.endswith('if __name__ == "__main__":\n    sys.exit(main())\n')
    assert "print(" in text
