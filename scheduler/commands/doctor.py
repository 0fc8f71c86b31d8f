"""``closein doctor``: what is wrong with this installation, and what would be right."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from typing import Annotated

import typer

from scheduler.commands.options import AsJson, Store


def doctor(
    store: Store = None,
    offline: Annotated[
        bool, typer.Option("--offline", help="Ask neither mail server nor weather sources.")
    ] = False,
    as_json: AsJson = False,
) -> int:
    """Look at settings, store, clock, mail, sources, fonts; exit code 2 where one is wrong."""
    from scheduler.service.doctor import doctor as run
    from scheduler.startup_service import open_service

    looks = []
    for look in run(open_service(store), network=not offline):
        looks.append(look)
        if not as_json:
            mark = "ok   " if look.fine else "WRONG"
            sys.stdout.write(f"{mark} {look.what}: {look.says}\n")
            sys.stdout.flush()
    if as_json:
        document = {"version": "closein-doctor/1", "looks": [asdict(look) for look in looks]}
        sys.stdout.write(json.dumps(document, indent=2, ensure_ascii=False) + "\n")
    return 0 if all(look.fine for look in looks) else 2
