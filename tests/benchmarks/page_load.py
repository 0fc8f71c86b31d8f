"""Two hundred readers on the pages of one job while a run goes on in the same process.

Each reader has a link of their own and opens a page, reads it for a second or two and opens the
next; the pages come from the product's own server in a process of its own, which plans the job
again and again meanwhile. The aim: of the answers 99 in 100 within 300 ms.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import random
import sys
import tempfile
import threading
import time
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np

from scheduler.commands.serve import SWITCH_S
from scheduler.runs.brief import brief
from scheduler.service.links import give
from scheduler.web.job_pages import PAGES
from tests.web.demo_site import AT, JOB, demo_site

READERS = 200
SECONDS = 30.0
READS_S = (1.0, 3.0)  # from one page to the next
AIM_S = 0.3
NAMES = [name for name in PAGES if name not in {"rules", "log"}]


def main() -> int:
    """Print the figures; 1 where the aim is missed."""
    own, other = multiprocessing.Pipe()
    with tempfile.TemporaryDirectory() as folder:
        process = multiprocessing.get_context("spawn").Process(
            target=_serve, args=(folder, other), daemon=True
        )
        process.start()
        port, tokens = own.recv()
        quiet = asyncio.run(_read(port, tokens, SECONDS / 3))
        own.send("run")
        busy = asyncio.run(_read(port, tokens, SECONDS))
        own.send("stop")
        runs = own.recv()
        process.join(timeout=30)
    _tell("nothing else to do", quiet, SECONDS / 3)
    late = _tell(f"{runs} runs meanwhile", busy, SECONDS)
    return 0 if late <= AIM_S else 1


def _tell(what: str, took: list[float], seconds: float) -> float:
    middle, late, worst = np.percentile(took, [50, 99, 100])
    print(
        f"{what}: {len(took)} pages, {len(took) / seconds:.0f} a second; "
        f"half within {1000 * middle:.0f} ms, 99 % within {1000 * late:.0f} ms, "
        f"all within {1000 * worst:.0f} ms"
    )
    return float(late)


def _serve(folder: str, pipe: Connection) -> None:
    """Serve the demo; plan it again and again from the word ``run`` on."""
    sys.setswitchinterval(SWITCH_S)  # as ``closein serve``
    with demo_site(Path(folder), scenarios=600) as site:
        store = site.service.store
        tokens = [give(store, JOB, f"reader {n}", now=AT) for n in range(READERS)]
        pipe.send((site.server.port, tokens))
        assert pipe.recv() == "run"
        (watched,) = store.runs.watched()
        over, runs = threading.Event(), []

        def work() -> None:
            while not over.is_set():
                brief(site.service.desk(watched, site.clock.now, "kept"))
                runs.append(1)

        thread = threading.Thread(target=work, daemon=True)
        thread.start()
        assert pipe.recv() == "stop"
        over.set()
        thread.join()
        pipe.send(len(runs))


async def _read(port: int, tokens: list[str], seconds: float) -> list[float]:
    took: list[float] = []
    ends = time.perf_counter() + seconds
    await asyncio.gather(*(_reader(port, n, token, ends, took) for n, token in enumerate(tokens)))
    return took


async def _reader(port: int, number: int, token: str, ends: float, took: list[float]) -> None:
    """Read page after page over one connection, as a browser does."""
    chance = random.Random(number)
    await asyncio.sleep(chance.uniform(0.0, READS_S[1]))
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    while time.perf_counter() < ends:
        path = f"/p/{token}/{chance.choice(NAMES)}"
        begun = time.perf_counter()
        writer.write(f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
        head = await reader.readuntil(b"\r\n\r\n")
        assert head.startswith(b"HTTP/1.1 200"), head
        length = next(
            int(line.partition(b":")[2])
            for line in head.split(b"\r\n")
            if line.lower().startswith(b"content-length")
        )
        await reader.readexactly(length)
        took.append(time.perf_counter() - begun)
        await asyncio.sleep(chance.uniform(*READS_S))
    writer.close()


if __name__ == "__main__":
    sys.exit(main())
