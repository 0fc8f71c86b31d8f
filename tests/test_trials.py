"""Situations on a site, each put to the public command and judged by its answer.

The trials and their runner are not part of the project. ``CLOSEIN_TRIALS`` names their folder;
without it a folder ``shared/trials`` beside the checkout is used. The command runs in this
process, through the same ``main`` that the installed one calls.
"""

from __future__ import annotations

import contextlib
import importlib
import io
import os
import subprocess
import sys
import traceback
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[1]
# What is not right yet, and why; each leaves this list when it is mended.
OPEN = {
    "plan-gate-by-read-wall": "the plan asks for no cover that finished work would need on",
}


def trials_folder() -> Path | None:
    named = os.environ.get("CLOSEIN_TRIALS")
    folder = Path(named) if named else ROOT.parent / "shared" / "trials"
    return folder if (folder / "run_trials.py").is_file() else None


@contextlib.contextmanager
def on_path(folder: Path) -> Iterator[None]:
    sys.path.insert(0, str(folder))
    try:
        yield
    finally:
        sys.path.remove(str(folder))


def runner() -> ModuleType | None:
    folder = trials_folder()
    if folder is None:
        return None
    with on_path(folder):
        return importlib.import_module("run_trials")


RUNNER = runner()


def known_open(trial: str) -> list[pytest.MarkDecorator]:
    return [pytest.mark.xfail(reason=OPEN[trial])] if trial in OPEN else []


def trials() -> list[Any]:
    folder = trials_folder()
    if RUNNER is None or folder is None:
        absent = pytest.mark.skip("no trials on this machine; set CLOSEIN_TRIALS")
        return [pytest.param({}, {}, id="none", marks=absent)]
    return [
        pytest.param(spec, book, id=spec["id"], marks=known_open(spec["id"]))
        for path in sorted((folder / "shared").glob("*.yaml"))
        for spec, book in RUNNER.trials_of(path)
    ]


def in_this_process(folder: Path, *args: str) -> subprocess.CompletedProcess[str]:
    from scheduler.cli import main

    out, err = io.StringIO(), io.StringIO()
    code: object = 0
    store = [] if args[0] == "check" else ["--store", "store.db"]
    with (
        contextlib.chdir(folder),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            code = main([*args, *store])
        except SystemExit as ended:
            code = ended.code
        except Exception:
            err.write(traceback.format_exc())
            code = 1
    status = code if isinstance(code, int) else int(code is not None)
    return subprocess.CompletedProcess(args, status, out.getvalue(), err.getvalue())


@pytest.mark.parametrize(("spec", "book"), trials())
def test_the_decision_of_a_careful_practitioner(
    spec: dict[str, Any], book: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert RUNNER is not None
    monkeypatch.setenv("CLOSEIN_SCENARIOS", "144")
    monkeypatch.setattr(
        RUNNER.Trial, "_run", lambda trial, *args: in_this_process(trial.folder, *args)
    )
    verdict = RUNNER.judged(spec, book, "closein")
    found = [verdict.broken] if verdict.broken else verdict.wrong
    assert found == [], f"{spec['situation']} ({spec['why']})"
