"""Killed at any moment: each message accepted once or an alarm, no entry lost, the store whole."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections import Counter
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from scheduler.interfaces.messages import Step
from scheduler.interfaces.protocols import Store
from scheduler.service.page_parts import PAGE
from scheduler.store import open_store
from tests.service.made_job import made_job, utc
from tests.service.mail_server import Behaviour, serving

ROOT = Path(__file__).resolve().parents[2]
SOAK = bool(os.environ.get("CLOSEIN_SOAK"))
KILLS = int(os.environ.get("CLOSEIN_KILLS", "300")) if SOAK else 4
START = utc(2026, 11, 9, 9)
AFTER = timedelta(days=1)  # after the last kill, so that every wait and lease ends
PEOPLE = [f"person{n}@example.org" for n in range(8 if SOAK else 4)]
JOB = "north-end-lift"
# What the server does to the next mail; most it takes.
FAULTS = [
    "accept", "accept", "accept", "slow", "4xx at mail", "4xx after data", "5xx at rcpt",
    "drop at mail", "drop after data", "take and drop", "take and hang",
]  # fmt: skip


class Moody(Behaviour):
    """A server in another mood for each mail."""

    chance: random.Random

    def next(self) -> str:
        return self.chance.choice(FAULTS)


def victim(
    store: Path, job: Path, port: int, begin: str, end: datetime, *manner: str
) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "tests.service.victim", str(store), str(job), str(port)]
    return subprocess.Popen(
        [*command, begin, end.isoformat(), *manner], cwd=ROOT, stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip


def whole(output: str) -> list[str]:
    return output[: output.rfind("\n") + 1].splitlines()


@pytest.mark.soak
def test_a_kill_at_any_moment_doubles_no_message_and_loses_none_in_silence(
    tmp_path: Path,
) -> None:
    chance, mood = random.Random(20261125), Moody()
    mood.chance = random.Random(7)
    path = tmp_path / "closein.db"
    job = made_job(tmp_path, delivery=f"[{', '.join(PEOPLE)}]", season_end="2027-12-31")
    at, logged, far = START.isoformat(), set[str](), START + timedelta(days=2000)
    phases: Counter[str] = Counter()
    window_s = max(1.5, a_morning_s(tmp_path, job))
    with serving(mood) as server:
        for _ in range(KILLS):
            process = victim(path, job, server.port, at, far)
            assert process.stdout is not None
            assert process.stdout.readline() == "open\n"
            time.sleep(chance.uniform(0.0, window_s))
            process.send_signal(signal.SIGKILL)
            lines = whole(process.communicate()[0])
            logged |= {line.removeprefix("logged ") for line in lines if "logged" in line}
            at = max([at, *(line.removeprefix("at ") for line in lines if line.startswith("at"))])
            phases.update(checked(path, logged))
        end = datetime.fromisoformat(at) + AFTER
        process = victim(path, job, server.port, at, end, "quiet")
        assert whole(process.communicate(timeout=300)[0])[-1] == "done"
    store = open_store(str(path))
    settled(store, mood)
    assert follows(store), "what was written down was not planned again"
    everyone_every_day(store, end)
    sys.stdout.write(f"{KILLS} kills, {len(store.outbox.messages())} messages, {dict(phases)}\n")
    if KILLS >= 100:
        assert phases["sending"] > 0, "no kill fell between sending and recording"
    store.close()


def a_morning_s(folder: Path, job: Path) -> float:
    """Return how long this machine takes for two hours with a morning in them.

    Kills fall within so long: on a slow machine none would leave a morning the time it needs, and
    a day without one is told the next day, which is another test's business.
    """
    with serving(Behaviour()) as server:
        end = START + timedelta(hours=2)
        process = victim(folder / "first.db", job, server.port, START.isoformat(), end)
        assert process.stdout is not None
        assert process.stdout.readline() == "open\n"
        began = time.monotonic()
        assert whole(process.communicate(timeout=300)[0])[-1] == "done"
    return time.monotonic() - began


def follows(store: Store) -> bool:
    """Tell whether the newest page knows the whole log but for the last step's entry."""
    last = store.last_decision(JOB, PAGE)
    return last is not None and last[2] >= store.log_length(JOB) - 1


def checked(path: Path, logged: set[str]) -> set[str]:
    """Check the store after a kill and return the steps in which messages were left."""
    store = open_store(str(path))
    kept = Counter(entry.text for entry in store.entries(JOB))
    assert logged <= kept.keys(), "an entry that was acknowledged is lost"
    assert set(kept.values()) <= {1}, "an entry that was sent again is written twice"
    assert store.verify() == ()
    steps = {message.step.value for message in store.outbox.messages()}
    store.close()
    return steps


def settled(store: Store, mood: Behaviour) -> None:
    """Each message: taken once and known, or an alarm; never twice, never neither."""
    taken = Counter(mood.ids)
    for message in store.outbox.messages(JOB):
        count = taken[message.message_id]
        if message.kind == "morning" and message.day >= last_day(store):
            continue  # of the last day some may still wait for their next try
        assert count <= 1, f"{message} was taken {count} times"
        if message.step is Step.SENT:
            assert count == 1, f"{message} is called sent and was not taken"
        else:
            assert message.step in {Step.IN_DOUBT, Step.GIVEN_UP}, message
        assert message.step is not Step.GIVEN_UP or count == 0
    known = {message.message_id for message in store.outbox.messages(JOB)}
    assert set(taken) <= known


def everyone_every_day(store: Store, end: datetime) -> None:
    """Every day has one morning for every person."""
    mornings = [m for m in store.outbox.messages(JOB) if m.kind == "morning"]
    days = (end.date() - START.date()).days
    wanted = [str(START.date() + timedelta(n)) for n in range(days)]
    people = Counter((m.day, m.recipient) for m in mornings)
    assert set(people.values()) == {1}
    for day in wanted:
        assert {who for on, who in people if on == day} == set(PEOPLE), day


def test_two_services_on_one_store_double_nothing_and_drop_nothing(tmp_path: Path) -> None:
    quiet, path, end = Behaviour(), tmp_path / "closein.db", START + timedelta(hours=4)
    job = made_job(tmp_path, delivery=f"[{', '.join(PEOPLE)}]")
    with serving(quiet) as server:
        first = START.isoformat()
        both = [victim(path, job, server.port, first, end, "patient") for _ in range(2)]
        outputs = [whole(process.communicate(timeout=120)[0]) for process in both]
    assert [lines[-1] for lines in outputs] == ["done", "done"]
    store = open_store(str(path))
    assert Counter(quiet.ids) == Counter(m.message_id for m in store.outbox.messages(JOB))
    assert {m.recipient for m in store.outbox.messages(JOB)} == set(PEOPLE)
    assert {m.step for m in store.outbox.messages(JOB)} == {Step.SENT}
    assert store.verify() == ()
    store.close()


def last_day(store: Store) -> str:
    return max(message.day for message in store.outbox.messages(JOB))
