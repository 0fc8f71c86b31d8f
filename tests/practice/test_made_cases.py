"""Whatever the vocabulary can say is answered: no refusal, no crash, no guessing, no rash go."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from rules.kinds import Form, kind_of
from tests.practice.asking import ask
from tests.practice.inputs import papers
from tests.practice.judging import MOST_LINES, MOST_NUMBERS
from tests.practice.made import made_case
from tests.practice.reading import OWN_VOCABULARY, load
from tests.practice.words import unknown_words

MANY = 400 if os.environ.get("CLOSEIN_SOAK") else 24
WORDS = load(OWN_VOCABULARY)


@pytest.mark.parametrize("seed", range(MANY))
def test_any_case_is_answered(seed: int, tmp_path: Path) -> None:
    case = made_case(seed, WORDS)
    assert unknown_words({**case, "expect": {}}, WORDS) == []
    answer = ask(papers(case), tmp_path)
    asked = {task["id"] for task in case["inputs"]["tasks"]}
    assert {task["task"] for task in answer["tasks"]} <= asked
    assert sum(len(task["numbers"]) for task in answer["tasks"]) <= MOST_NUMBERS
    for task in answer["tasks"]:
        for kind in ("measures", "checks", "cautions"):
            assert len(task[kind]) <= MOST_LINES
        if kind_of(task["work_type"]).form is not Form.PROTECTION and task["outcome"] in {
            "no_go", "not_known",
        }:  # fmt: skip
            assert task["call"] not in {"go", "go_with_protection"}
