"""Put a case to the public command: write the files, replay forecasts and log, ask."""

from __future__ import annotations

import contextlib
import io
import json
import traceback
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from tests.practice.inputs import Papers


class NoAnswer(Exception):
    """The product refused, crashed or answered something that is not an answer."""


def ask(given: Papers, folder: Path) -> Mapping[str, Any]:
    """Return the product's answer at the moment of asking.

    The clock stands at each forecast's issue time first, so that the product has read and kept
    it; then the log is written, then the question is put.

    Raises
    ------
    NoAnswer
        If any command ends with another exit code than 0, or prints no JSON object.
    """
    job = _write(folder / "job.yaml", given.job)
    common = ["--store", f"sqlite:///{folder / 'store.db'}"]
    if given.observed is not None:
        observed = _write(folder / "observed.json", given.observed)
        common += ["--observed", observed]
    for place, (issued_at, forecast) in enumerate(given.forecasts):
        weather = _write(folder / f"forecast-{place}.json", forecast)
        if place < len(given.forecasts) - 1:
            _run(["today", job, "--weather", weather, "--at", issued_at.isoformat(), *common])
    asked_at = given.asked_at.isoformat()
    if given.entries:
        entries = _write(folder / "entries.json", list(given.entries))
        _run(["log", job, "--entries", entries, "--at", asked_at, *common[:2]])
    return _answer(_run(["today", job, "--weather", weather, "--at", asked_at, "--json", *common]))


def _write(path: Path, content: object) -> str:
    # JSON is YAML: the job file is read by the same reader as a person's.
    path.write_text(json.dumps(content, ensure_ascii=False, indent=1), encoding="utf-8")
    return str(path)


def _answer(text: str) -> Mapping[str, Any]:
    try:
        answer = json.loads(text)
    except ValueError as error:
        raise NoAnswer(f"no JSON: {text[:200]!r}") from error
    if not isinstance(answer, Mapping):
        raise NoAnswer(f"no JSON object: {text[:200]!r}")
    return answer


def _run(arguments: Sequence[str]) -> str:
    from scheduler.cli import main  # late: a runner that only reads needs no product

    out, err = io.StringIO(), io.StringIO()
    code: object = 0
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main(list(arguments))
    except SystemExit as ended:
        code = ended.code
    except Exception as error:  # a crash of the product is a wrong answer, not ours
        last = traceback.extract_tb(error.__traceback__)[-1]
        where = f"{Path(last.filename).name}:{last.lineno}"
        raise NoAnswer(f"crash {type(error).__name__}: {error} ({where})") from error
    if code not in (None, 0):
        raise NoAnswer(f"exit {code}: {(err.getvalue() or out.getvalue()).strip()[:600]}")
    return out.getvalue()
