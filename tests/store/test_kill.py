"""What the store has acknowledged is there after a kill, and writers wait for each other."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from scheduler.planning.model.log import Entry
from scheduler.store import open_store

ROOT = Path(__file__).resolve().parents[2]
KILLS = 50 if os.environ.get("CLOSEIN_SOAK") else 6


def writer(path: Path, name: str, count: int) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "tests.store.writer", str(path), name, str(count)]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)


def acknowledged(output: str) -> list[tuple[int, str]]:
    """Return number and name of each entry whose line came out whole."""
    whole = output[: output.rfind("\n") + 1].splitlines()
    return [
        (int(line.split(" ", 1)[0]), line.split(" ", 1)[1]) for line in whole if line != "open"
    ]


def names(entries: tuple[Entry, ...]) -> dict[int, str]:
    return {entry.seq: entry.text.rpartition(" ")[0] for entry in entries}


@pytest.mark.soak
def test_a_kill_at_any_moment_loses_no_acknowledged_entry(tmp_path: Path) -> None:
    path, chance = tmp_path / "closein.db", random.Random(20261125)
    promised: dict[int, str] = {}
    in_the_middle = 0
    for kill in range(KILLS):
        process = writer(path, f"run{kill}", 100_000)
        assert process.stdout is not None
        assert process.stdout.readline() == "open\n"
        first = process.stdout.readline() if chance.random() < 0.8 else ""
        time.sleep(chance.uniform(0.0, 0.15))
        process.send_signal(signal.SIGKILL)
        output = first + process.communicate()[0]
        promised |= dict(acknowledged(output))
        in_the_middle += path.with_name("closein.db-journal").exists()
        store = open_store(str(path))
        kept = names(store.entries("lift"))
        assert promised.items() <= kept.items()
        assert list(kept) == list(range(1, len(kept) + 1))
        assert len(kept) - len(promised) <= kill + 1  # at most one a kill was not yet said
        assert store.verify() == ()
        store.close()
    assert promised
    assert in_the_middle > 0 or KILLS < 50  # kills fell inside a commit, else this shows little


COMMAND = "import sys; from scheduler.cli import main; sys.exit(main())"


def log_command(store: Path, text: str) -> subprocess.Popen[str]:
    job = ROOT / "tests" / "jobfile" / "whole.yaml"
    options = ["--store", str(store), "--at", "2026-11-10T12:00", "--no-plan", "--note", text]
    return subprocess.Popen(
        [sys.executable, "-c", COMMAND, "log", str(job), *options],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


@pytest.mark.soak
def test_closein_log_killed_at_any_moment_keeps_what_it_acknowledged(tmp_path: Path) -> None:
    path, chance = tmp_path / "closein.db", random.Random(20261125)
    begun = time.monotonic()
    output, errors = log_command(path, "note 0").communicate(timeout=120)
    assert (output.startswith("logged 1."), errors) == (True, "")
    takes_s = time.monotonic() - begun
    promised, begun_texts = {"note 0"}, {"note 0"}
    for kill in range(1, KILLS + 1):
        text = f"note {kill}"
        process = log_command(path, text)
        begun_texts.add(text)
        time.sleep(chance.uniform(0.3, 1.2) * takes_s)
        process.send_signal(signal.SIGKILL)
        output, _ = process.communicate()
        promised |= {text} if output.startswith("logged") else set()
        store = open_store(str(path))
        (job,) = store.jobs()
        kept = [entry.text for entry in store.entries(job)]
        assert promised <= set(kept) <= begun_texts
        assert len(set(kept)) == len(kept)
        assert store.verify() == ()
        store.close()


def test_writers_at_the_same_time_wait_and_none_fails(tmp_path: Path) -> None:
    path = tmp_path / "closein.db"
    processes = [writer(path, f"crew{n}", 20) for n in range(5)]
    outputs = [process.communicate(timeout=120)[0] for process in processes]
    assert [process.returncode for process in processes] == [0] * 5
    promised = dict(pair for output in outputs for pair in acknowledged(output))
    store = open_store(str(path))
    assert names(store.entries("lift")) == promised
    assert sorted(promised) == list(range(1, 101))
    assert store.verify() == ()
