"""Writes one note after the other and says the number of each once the store has it.

python -m tests.store.writer STORE NAME COUNT
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime

from scheduler.planning.model.log import Entry, EntryKind
from scheduler.store import open_store


def main(address: str, name: str, count: int) -> None:
    store = open_store(address)
    sys.stdout.write("open\n")
    sys.stdout.flush()
    for number in range(count):
        now = datetime(2026, 11, 10, 17, tzinfo=UTC)
        note = Entry(0, now, now, EntryKind.NOTE, text=f"{name} {number} " + "x" * 3000)
        (entry,) = store.append("lift", [note], entered_at=now)
        sys.stdout.write(f"{entry.seq} {name} {number}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]))
