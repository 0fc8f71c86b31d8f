"""``closein serve``: the service, its timer and its pages."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from scheduler.commands.options import Store

SWITCH_S = 0.0005  # a reader's thread does not wait 5 ms each time for one that plans


def serve(
    jobs: Annotated[
        list[Path] | None,
        typer.Argument(metavar="[JOB]...", help="Job files to look after from now on as well."),
    ] = None,
    port: Annotated[int, typer.Option("--port", metavar="N", min=0, max=65535)] = 8080,
    host: Annotated[
        str, typer.Option("--host", help="Address to listen on; this machine alone unless said.")
    ] = "127.0.0.1",
    weather: Annotated[
        str, typer.Option("--weather", metavar="job|nws|MODEL|FILE", help="For the jobs named.")
    ] = "job",
    climate: Annotated[
        str, typer.Option("--climate", metavar="FILE", help="Past years for the jobs named.")
    ] = "",
    forget: Annotated[
        list[str] | None,
        typer.Option("--forget", metavar="ID", help="A job that is no longer looked after."),
    ] = None,
    once: Annotated[
        bool, typer.Option("--once", help="Do what is due, send what waits, and end; no pages.")
    ] = False,
    store: Store = None,
) -> None:
    """Look after jobs: morning messages, alerts, pages. Ctrl-C ends it."""
    from scheduler.service.log_lines import log_to
    from scheduler.service.replans import replan_due
    from scheduler.service.rounds import round_of
    from scheduler.service.timer import beating
    from scheduler.startup_service import open_service, pages, watch

    service = open_service(store, beside=jobs[0] if jobs else None)
    for job in forget or []:
        service.store.runs.forget(job)
    watch(service, tuple(jobs or ()), weather=weather, climate=climate)
    log_to()
    if once:
        round_of(service)
        replan_due(service)
        return
    from scheduler.web.server import server_of

    count = len(service.store.runs.watched())
    sys.stdout.write(f"closein looks after {count} jobs, http://{host}:{port}/health\n")
    sys.stdout.flush()
    sys.setswitchinterval(SWITCH_S)
    with beating(lambda: round_of(service), replan=lambda: replan_due(service)) as wake:
        server_of(pages(service, wake=wake), host=host, port=port).run()
