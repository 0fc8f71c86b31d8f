"""No regular expression of the tree has a range of characters that nobody meant (``+-−``)."""

from __future__ import annotations

import ast
import re
import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
FILES = sorted((*(ROOT / "scheduler").rglob("*.py"), *(ROOT / "rules").rglob("*.py")))
KINDS = ("0123456789", "abcdefghijklmnopqrstuvwxyz", "ABCDEFGHIJKLMNOPQRSTUVWXYZ")
RANGE = re.compile(r"\[(?:\\.|[^\]\\])*\]", re.DOTALL)


def texts(path: Path) -> Iterator[tuple[int, str]]:
    """Yield every text that may be a pattern, with its line; f-strings by their fixed parts."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and "[" in node.value:
            yield node.lineno, node.value


def strange(text: str) -> list[str]:
    """Return the ranges of a pattern's classes that are of no one kind of letters or digits."""
    found = []
    for one in RANGE.findall(text):
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                parsed = re._parser.parse(one)  # type: ignore[attr-defined]
        except re.error:
            continue
        for _, inside in parsed:
            for kind, ends in inside if isinstance(inside, list) else ():
                if str(kind) != "RANGE":
                    continue
                first, last = (chr(end) for end in ends)
                alike = any(first in letters and last in letters for letters in KINDS)
                if not alike and not (ends[0] <= 32 or ends[0] >= 127):  # blocks, by their numbers
                    found.append(f"{first}-{last}")
    return found


def test_the_check_finds_what_it_looks_for() -> None:
    assert strange("[+-−]?\\d+") == ["+-−"]
    assert strange("[A-Za-z0-9_-]+[+−-]") == []


@pytest.mark.parametrize("path", FILES, ids=[str(path.relative_to(ROOT)) for path in FILES])
def test_no_pattern_has_a_range_by_accident(path: Path) -> None:
    assert [(line, strange(text)) for line, text in texts(path) if strange(text)] == []
