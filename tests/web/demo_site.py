"""The made scenario's service at its morning, served on a free port; what a browser looks at."""

from __future__ import annotations

import atexit
import shutil
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import timedelta
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

from scheduler.interfaces.people import Role
from scheduler.service.desks import Service
from scheduler.service.links import give
from scheduler.service.replans import replan_due
from scheduler.service.rounds import round_of
from scheduler.service.signing_in import open_account
from scheduler.startup import demo_files
from scheduler.startup_service import open_service, pages, watch
from scheduler.web.server import server_of
from tests.service.made_job import Hand, utc

JOB = "heron-ferry-north-house"
AT = utc(2026, 11, 9, 11)  # 06:00 on site
NIGHT = utc(2026, 11, 9, 3)
OWNER, PASSWORD = "I. Solberg", "twelve cold courses of block"


class Served:
    """The pages by the product's own server on a free port; it can go and come again."""

    def __init__(self, app: Any) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = int(free.getsockname()[1])
        self.app = app
        self.address = f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        self.own = server_of(self.app, host="127.0.0.1", port=self.port)
        self.thread = threading.Thread(target=self.own.run, daemon=True)
        self.thread.start()
        while not self.own.started:
            time.sleep(0.02)

    def stop(self) -> None:
        self.own.should_exit = True  # connections that idle are closed, others answered first
        self.thread.join()  # it bounds itself; the port must be free before it comes again
        for one in list(self.own.server_state.connections):  # as the end of a process would
            held = one.transport.get_extra_info("socket")
            with suppress(OSError), socket.fromfd(held.fileno(), held.family, held.type) as left:
                left.shutdown(socket.SHUT_RDWR)


@dataclass
class DemoSite:
    """A served demo."""

    service: Service
    clock: Hand
    server: Served
    root: str  # of a link that may log

    @property
    def address(self) -> str:
        return self.server.address

    @property
    def url(self) -> str:
        return f"{self.address}{self.root}"


@contextmanager
def demo_site(folder: Path, *, scenarios: int = 60, plans: bool = False) -> Iterator[DemoSite]:
    """Serve the demo after its morning; with ``plans`` what is written down is planned at once.

    A plan of the demo takes two cores seconds, and the end waits for one that is under way.
    """
    shutil.copy(_with_morning(scenarios), folder / "closein.db")
    clock = Hand(AT + timedelta(minutes=1))  # its morning took some of it
    service = _service(folder / "closein.db", clock, scenarios)
    token = give(service.store, JOB, "O. Dahl", now=AT, may_log=True)
    open_account(service.store, OWNER, PASSWORD, role=Role.OWNER, releases=("engineer",), now=AT)
    stop, woken = threading.Event(), threading.Event()

    def work() -> None:
        while not stop.is_set():
            if woken.wait(0.05):
                woken.clear()
                clock.now += timedelta(minutes=1)
                replan_due(service)

    thread = threading.Thread(target=work, daemon=True)
    if plans:
        thread.start()
    server = Served(pages(service, wake=woken.set))
    try:
        server.start()
        yield DemoSite(service, clock, server, f"/p/{token}/")
    finally:
        server.stop()
        stop.set()
        if plans:
            thread.join()


@cache
def _with_morning(scenarios: int) -> Path:
    folder = Path(mkdtemp(prefix="closein-demo-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    clock = Hand(NIGHT)
    service = _service(folder / "closein.db", clock, scenarios)
    clock.now = AT
    round_of(service)
    service.store.close()
    return folder / "closein.db"


def _service(store: Path, clock: Hand, scenarios: int) -> Service:
    from dataclasses import replace

    files = demo_files()
    service = open_service(str(store), clock=clock)
    made = service.desk
    service = replace(
        service,
        desk=lambda watched, at, weather: replace(made(watched, at, weather), scenarios=scenarios),
        senders={},
        sender="closein@example.org",
    )
    watch(
        service,
        (files / "job.yaml",),
        weather=str(files / "forecast.json"),
        climate=str(files / "climate.csv"),
    )
    return service
