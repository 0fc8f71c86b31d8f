"""What the morning of many jobs takes in one process: time and memory, mail to a real server.

Run ``python -m tests.benchmarks.service_morning``. Each job is the demo's, of its own name, with
its past years and as many scenarios as are set (600 unless ``CLOSEIN_SCENARIOS`` says): what a
builder's morning takes; ``CLOSEIN_JOBS`` says how many (2 unless said). Aims: a job's morning with
its plan, pages, pictures and letter within AIM_PLANS times the processor's time of the plan alone
in the same run, and a beat with nothing due within half the time between two beats.
"""

from __future__ import annotations

import os
import resource
import sys
import tempfile
import time
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from scheduler.interfaces.messages import Step
from scheduler.mail.smtp import MailServer, Smtp
from scheduler.runs.plan import plan
from scheduler.service.due import MORNING
from scheduler.service.rounds import round_of
from scheduler.service.timer import BEAT_S
from scheduler.startup import demo_files
from scheduler.startup_service import open_service, watch
from tests.benchmarks._timing import fastest
from tests.service.made_job import Hand, utc
from tests.service.mail_server import Behaviour, serving

JOBS = int(os.environ.get("CLOSEIN_JOBS", "2"))
AIM_PLANS = 6.0
NIGHT, MORNING_AT = utc(2026, 11, 9, 3), utc(2026, 11, 9, 11)


def job_files(folder: Path) -> tuple[Path, ...]:
    """Write the demo's job once for each job, under names of their own."""
    text = (demo_files() / "job.yaml").read_text(encoding="utf-8")
    files = tuple(folder / f"job{number}.yaml" for number in range(JOBS))
    for number, file in enumerate(files):
        own = text.replace("name: Heron Ferry, north house", f"name: House {number}", 1)
        file.write_text(own, encoding="utf-8")
    return files


def main() -> int:
    """Print the figures; 1 where an aim is missed."""
    made = demo_files()
    with tempfile.TemporaryDirectory() as name, serving(Behaviour()) as server:
        folder, clock = Path(name), Hand(NIGHT)
        smtp = Smtp(MailServer("127.0.0.1", server.port, "none", "closein@example.org"))
        opened = open_service(str(folder / "closein.db"), clock=clock)
        service = replace(opened, senders={"mail": smtp}, sender="closein@example.org")
        weather, climate = str(made / "forecast.json"), str(made / "climate.csv")
        watch(service, job_files(folder), weather=weather, climate=climate)
        before, clock.now = _memory_mb(), MORNING_AT
        began, used = time.perf_counter(), time.process_time()
        round_of(service)
        took, used = time.perf_counter() - began, time.process_time() - used
        sent = [m for m in service.store.outbox.messages() if m.kind == MORNING]
        assert len(sent) == JOBS
        assert all(m.step is Step.SENT for m in sent)
        clock.now += timedelta(seconds=BEAT_S)
        began = time.perf_counter()
        round_of(service)
        idle = time.perf_counter() - began
        watched = service.store.runs.watched()[0]
        alone = fastest(lambda: plan(service.desk(watched, clock.now, watched.weather)), 2)
        size = (folder / "closein.db").stat().st_size / 1e6
        scenarios = service.desk(watched, clock.now, "kept").scenarios
        tasks = len(service.job(watched).tasks)
    times = used / JOBS / alone
    print(
        f"{JOBS} jobs of {tasks} tasks in {scenarios} scenarios: {took:.1f} s, of the processor "
        f"{used / JOBS:.2f} s a job, {times:.1f} times a plan alone of {alone:.2f} s "
        f"(aim {AIM_PLANS:.0f})"
    )
    print(f"memory at most {_memory_mb():.0f} MB ({before:.0f} MB before); store {size:.1f} MB")
    print(f"a beat with nothing due: {idle:.2f} s (aim {BEAT_S / 2:.0f})")
    return int(times > AIM_PLANS or idle > BEAT_S / 2)


def _memory_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


if __name__ == "__main__":
    sys.exit(main())
