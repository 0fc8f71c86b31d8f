"""A service that runs until it is killed: half an hour a step, mail to a real server, log, replan.

python -m tests.service.victim STORE JOB PORT FROM UNTIL [patient | quiet]
Patient: waits long for the server, and for another service whose moved clock is behind.
Quiet: something is written down every three hours only; a plan of each takes longer than all else.
Says ``at MOMENT`` after each step and ``logged TEXT`` once the store has an entry.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import count
from pathlib import Path

from scheduler.mail.smtp import MailServer, Smtp
from scheduler.service.posted import take
from scheduler.service.replans import replan_due
from scheduler.service.rounds import round_of
from scheduler.service.sending import Leases
from scheduler.service.visitor import Visitor
from tests.service.made_job import made_service

STEP = timedelta(minutes=30)
DAY = timedelta(days=1)
JOB = "north-end-lift"


def say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def main(store: str, job: str, port: str, begin: str, end: str, manner: str = "") -> None:
    wait_s = 20.0 if manner == "patient" else 0.5
    server = MailServer("127.0.0.1", int(port), "none", "closein@example.org", timeout_s=wait_s)
    start, until = datetime.fromisoformat(begin), datetime.fromisoformat(end)
    made = made_service(Path(store), Path(job), start, senders={"mail": Smtp(server)})
    if manner == "patient":
        made.service = replace(made.service, leases=Leases(DAY, DAY, DAY))
    say("open")
    phone = Visitor(JOB, "A. Ryd", may_log=True)
    for step in count():
        if made.clock.now >= until:
            break
        round_of(made.service)
        if manner != "quiet" or step % 6 == 0:
            note = f"note {made.clock.now.isoformat()}"
            form = {"what": "note", "text": note, "key": f"form {made.clock.now.isoformat()}"}
            take(made.service, phone, form)  # again after a kill, as a phone without answer does
            say(f"logged {note}")
        replan_due(made.service)
        made.clock.now += STEP
        say(f"at {made.clock.now.isoformat()}")
    say("done")


if __name__ == "__main__":
    main(*sys.argv[1:])
