"""What the morning of many jobs takes in one process: time and memory, mail to a real server.

CLOSEIN_JOBS says how many (50 unless said). The aim: a beat with nothing due takes less than half
the twenty seconds between two beats.
"""

from __future__ import annotations

import os
import resource
import tempfile
import time
from pathlib import Path

from scheduler.interfaces.messages import Step
from scheduler.mail.smtp import MailServer, Smtp
from scheduler.service.due import MORNING
from scheduler.service.rounds import round_of
from scheduler.service.timer import BEAT_S
from scheduler.startup_service import watch
from tests.service.made_job import made_job, made_service, utc
from tests.service.mail_server import Behaviour, serving

JOBS = int(os.environ.get("CLOSEIN_JOBS", "50"))


def main() -> int:
    """Print the figures; 1 where the aim is missed."""
    with tempfile.TemporaryDirectory() as name, serving(Behaviour()) as server:
        folder = Path(name)
        files = tuple(made_job(folder, name=f"House {n}") for n in range(JOBS))
        smtp = Smtp(MailServer("127.0.0.1", server.port, "none", "closein@example.org"))
        night = utc(2026, 11, 9, 3)
        made = made_service(folder / "closein.db", files[0], night, senders={"mail": smtp})
        watch(made.service, files, weather="job", climate="")
        made.clock.now = utc(2026, 11, 9, 10, 30)
        before = _memory_mb()
        began = time.perf_counter()
        round_of(made.service)
        took = time.perf_counter() - began
        sent = [m for m in made.service.store.outbox.messages() if m.kind == MORNING]
        size = (folder / "closein.db").stat().st_size / 1e6
        assert len(sent) == JOBS
        assert all(m.step is Step.SENT for m in sent)
        began = time.perf_counter()
        round_of(made.service)
        idle = time.perf_counter() - began
    print(f"{JOBS} jobs of two tasks: {took:.1f} s, {1000 * took / JOBS:.0f} ms a job")
    print(f"memory at most {_memory_mb():.0f} MB ({before:.0f} MB before); store {size:.1f} MB")
    print(f"a beat with nothing due: {idle:.2f} s")
    return 0 if idle < BEAT_S / 2 else 1


def _memory_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
