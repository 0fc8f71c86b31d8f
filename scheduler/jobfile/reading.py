"""Reading a job file: bytes to tree, tree to schema, schema to the job that planning sees."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, date
from pathlib import Path
from typing import Final

from pydantic import ValidationError

from rules.errors import Faults, JobFileFault
from scheduler.jobfile.building import job_of
from scheduler.jobfile.faults import fault_at, faults_of
from scheduler.jobfile.fields import Known, zone_of
from scheduler.jobfile.free_days import free_days
from scheduler.jobfile.network import cycles, ids_of, repeated_ids
from scheduler.jobfile.schema import JobPart
from scheduler.jobfile.site import site_clashes
from scheduler.jobfile.tree import Node, Said, load, text_of, tree_of
from scheduler.planning.model.job import Job

MOST_FAULTS: Final = 500  # nobody reads more; the last line says how many are left
LONGEST_JOB_Y: Final = 10  # a file that only names its season's end may begin so long before
YEAR: Final = re.compile(
    r"\b(20\d\d)-[01]\d-[0-3]\d"
)  # 2000 to 2099: calendars are kept for these
SECTIONS: Final = {"task": "tasks", "crew": "crews", "document": "documents"}


def read(path: Path | str) -> Job:
    """Read the job file at a path.

    Raises
    ------
    Faults
        Of ``JobFileFault``: everything that is wrong with the file, in order of lines.
    """
    try:
        raw = load(Path(path))
    except JobFileFault as fault:
        raise Faults([fault]) from fault
    return parse(raw, file=str(path))


def parse(source: bytes | str, *, file: str = "job.yaml") -> Job:
    """Read a job file's content; ``file`` is what faults call it.

    Raises
    ------
    Faults
        Of ``JobFileFault``: everything that is wrong with the file, in order of lines.
    """
    raw = source.encode("utf-8", "surrogatepass") if isinstance(source, str) else source
    try:
        text = text_of(raw, file)
        tree, faults = tree_of(text, file)
    except JobFileFault as fault:
        raise Faults([fault]) from fault
    if not isinstance(tree.value, dict):
        want = "write `key: value` lines, the first `closein: 1`"
        raise Faults([fault_at((), Said("no mapping"), want, tree, file)])
    left = 0
    try:
        part = JobPart.model_validate(tree.plain(), context=_known(tree))
    except ValidationError as error:
        errors = error.errors(include_url=False)
        faults += faults_of(errors[:MOST_FAULTS], JobPart, tree, file)
        left = max(len(errors) - MOST_FAULTS, 0)
    faults += _between_parts(tree, file)
    holidays, wrong = _holidays(tree, text, file)
    faults += wrong
    if faults:
        raise Faults(_in_order(faults, left, file))
    return job_of(part, holidays)


def _known(tree: Node) -> Known:
    zone = zone_of(tree.text("site", "time_zone"))
    ids = {what: frozenset(ids_of(tree, section)) for what, section in SECTIONS.items()}
    return Known(zone=zone or UTC, ids=ids)


def _between_parts(tree: Node, file: str) -> Iterator[JobFileFault]:
    for section in SECTIONS.values():
        yield from repeated_ids(tree, section, file)
    yield from cycles(tree, file)
    yield from site_clashes(tree, file)


def _holidays(tree: Node, text: str, file: str) -> tuple[frozenset[date], list[JobFileFault]]:
    """Return the region's free days, from years before those that the file names to the next."""
    region = tree.text("holidays")
    if region is None:
        return frozenset(), []
    named = sorted({int(year) for year in YEAR.findall(text)})
    if not named:
        want = "give season_end too, so that the years are known"
        return frozenset(), [fault_at(("holidays",), region, want, tree, file)]
    try:
        return free_days(region, range(named[-1] - LONGEST_JOB_Y, named[-1] + 2)), []
    except ValueError as error:
        return frozenset(), [fault_at(("holidays",), region, str(error), tree, file)]


def _in_order(faults: list[JobFileFault], left: int, file: str) -> list[JobFileFault]:
    ordered = sorted(faults, key=lambda fault: (fault.line or 0, fault.column or 0))
    left += max(len(ordered) - MOST_FAULTS, 0)
    if left == 0:
        return ordered
    said = Said(f"shown up to {MOST_FAULTS} faults")
    more = JobFileFault(file, "the file", said, f"{left} more follow")
    return [*ordered[:MOST_FAULTS], more]
