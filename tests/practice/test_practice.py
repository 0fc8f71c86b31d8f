"""The open cases and our own, each put to the public command."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from tests.practice.__main__ import main, verdict
from tests.practice.reading import read_cases, read_vocabulary

ROOT = Path(__file__).resolve().parents[2]
OWN = sorted(Path(__file__).with_name("cases").glob("*.yaml"))


def shared_cases() -> Path | None:
    named = os.environ.get("CLOSEIN_CASES")
    beside = ROOT.parent / "shared" / "cases"
    folder = Path(named) if named else beside
    path = folder / "practice-cases.yaml" if folder.is_dir() else folder
    return path if path.is_file() else None


def cases_of(path: Path | None) -> list[Any]:
    if path is None:
        return []
    words = read_vocabulary(path)
    return [pytest.param(case, words, id=str(case["id"])) for case in read_cases(path)]


@pytest.mark.parametrize(("case", "words"), [p for path in OWN for p in cases_of(path)])
def test_our_own_case_is_right(case: Mapping[str, Any], words: Mapping[str, Any]) -> None:
    word, judgement = verdict(case, words)
    assert word == "right", "\n".join(judgement.misses)


@pytest.mark.skipif(shared_cases() is None, reason="no practice cases; set CLOSEIN_CASES")
@pytest.mark.parametrize(("case", "words"), cases_of(shared_cases()))
def test_open_case_is_right(case: Mapping[str, Any], words: Mapping[str, Any]) -> None:
    word, judgement = verdict(case, words)
    assert word == "right", "\n".join(judgement.misses)


def test_a_file_of_another_schema_is_refused(tmp_path: Path) -> None:
    other = tmp_path / "other.yaml"
    other.write_text("schema: practice-cases/1\ncases: []\n", encoding="utf-8")
    assert main([str(other)]) == 2
    assert main([str(tmp_path / "absent.yaml")]) == 2
