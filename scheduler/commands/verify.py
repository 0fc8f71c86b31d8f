"""``closein verify``: whether anything in the store was changed behind its back."""

from __future__ import annotations

import sys

from scheduler.commands.options import AsJson, Store


def verify(store: Store = None, as_json: AsJson = False) -> None:
    """Check every record of the store against the one before it, and all bytes kept."""
    import json

    from rules.errors import Faults, StoreFault
    from scheduler.startup_service import named_store

    opened = named_store(store)
    lines = opened.verify()
    if as_json:
        document = {"version": "closein-verify/1", "sound": not lines, "faults": list(lines)}
        sys.stdout.write(json.dumps(document, indent=2) + "\n")
    if lines:
        raise Faults(StoreFault(line) for line in lines)
    if not as_json:
        sys.stdout.write(f"{opened.name}: every record follows from the one before\n")
