"""``python -m tests.practice FILE``: 0 all right, 1 some wrong or unknown, 2 not such a file."""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from tests.practice.asking import NoAnswer, ask
from tests.practice.inputs import papers, safe_names
from tests.practice.judging import Judgement, judge
from tests.practice.reading import UnreadableCases, read_cases, read_vocabulary
from tests.practice.words import unknown_words


def main(arguments: Sequence[str] | None = None) -> int:
    """Judge every case of a file and print what came of it."""
    parser = argparse.ArgumentParser(prog="python -m tests.practice", description=__doc__)
    parser.add_argument("file", type=Path)
    parser.add_argument("-v", "--verbose", action="store_true", help="print unjudged statements")
    parser.add_argument("--only", default="", help="ids of cases, with commas between")
    given = parser.parse_args(arguments)
    try:
        cases = read_cases(given.file)
        vocabulary = read_vocabulary(given.file)
    except UnreadableCases as error:
        print(error, file=sys.stderr)
        return 2
    wanted = set(filter(None, given.only.split(",")))
    chosen = [case for case in cases if not wanted or str(case["id"]) in wanted]
    return _report(chosen, vocabulary, verbose=given.verbose)


def _report(
    cases: Sequence[Mapping[str, Any]], vocabulary: Mapping[str, Any], *, verbose: bool
) -> int:
    counts = {"right": 0, "wrong": 0, "unknown": 0}
    unjudged = 0
    for case in cases:
        word, judgement = verdict(case, vocabulary)
        counts[word] += 1
        unjudged += len(judgement.unjudged)
        for miss in judgement.misses:
            print(f"  {case['id']} {miss}")
        if verbose:
            for statement in judgement.unjudged:
                print(f"  {case['id']} UNJUDGED {statement}")
        print(f"{case['id']} {word}")
    print(
        f"cases {len(cases)} right {counts['right']} wrong {counts['wrong']} "
        f"unknown {counts['unknown']} unjudged-statements {unjudged}"
    )
    return 0 if counts["right"] == len(cases) else 1


def verdict(case: Mapping[str, Any], vocabulary: Mapping[str, Any]) -> tuple[str, Judgement]:
    """Return right, wrong or unknown for a case, with its misses."""
    strange = unknown_words(case, vocabulary)
    if strange:
        return "unknown", Judgement(tuple(f"UNKNOWN {word}" for word in strange), ())
    zone = ZoneInfo(case["place"]["time_zone"])
    with tempfile.TemporaryDirectory() as folder:
        try:
            answer = ask(papers(case), Path(folder))
        except NoAnswer as error:
            return "wrong", Judgement((f"no answer: {error}",), ())
    judgement = judge(case["expect"], _with_own_names(answer, case), zone)
    return ("wrong" if judgement.misses else "right"), judgement


def _with_own_names(answer: Mapping[str, Any], case: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return the answer under the ids that the case uses."""
    own = safe_names(case.get("inputs") or {})

    def renamed(value: Any) -> Any:
        if isinstance(value, list):
            return [renamed(item) for item in value]
        if isinstance(value, Mapping):
            return {
                k: own.get(v, v) if k in {"task", "what_if"} and isinstance(v, str) else renamed(v)
                for k, v in value.items()
            }
        return value

    return renamed(answer)  # type: ignore[no-any-return]


if __name__ == "__main__":
    sys.exit(main())
