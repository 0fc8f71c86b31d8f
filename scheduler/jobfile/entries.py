"""Log entries as people and files give them, to entries that the store can keep.

A file holds a list of them, JSON or YAML. All that is wrong with any is told at once, and then
none is taken.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from pydantic import ValidationError

from rules.errors import Faults, JobFileFault, LogRefused
from scheduler.jobfile.entry_parts import PARTS, EntryPart, ReadingPart
from scheduler.jobfile.faults import fault_at, faults_of
from scheduler.jobfile.fields import Known, not_among
from scheduler.jobfile.tree import Node, Said, node_of, text_of, tree_of
from scheduler.planning.model.job import Job
from scheduler.planning.model.log import Entry
from scheduler.planning.model.progress import refusals

# The field of an entry that a check names, and the keys it may stand under.
ALSO: Final = {"hours": ("hours_left", "lost_h"), "when": ("at",)}


def entries_of(
    source: bytes | Sequence[Mapping[str, object]],
    *,
    job: Job,
    log: Sequence[Entry],
    now: datetime,
    file: str = "log",
) -> tuple[Entry, ...]:
    """Return the entries that a file or a command gives, checked against the job and its log.

    Parameters
    ----------
    source : bytes or list of mappings
        A JSON or YAML list of entries, or the entries themselves; see ``PARTS`` for the keys.
    job, log : Job, entries in order of writing
        What they are checked against; entries given together are checked one after the other.
    now : datetime
        The clock; what has not happened yet is refused, and it stands where ``when`` is left out.
    file : str
        What the refusals call the source.

    Raises
    ------
    Faults
        Of ``LogRefused``, one for each thing that is wrong. Then nothing may be written.
    """
    known = Known(
        zone=ZoneInfo(job.site.time_zone), ids={"task": frozenset(t.id for t in job.tasks)}
    )
    try:
        trees, faults = _trees(source, file)
    except JobFileFault as fault:
        raise Faults([LogRefused(str(fault))]) from fault
    taken: list[Entry] = []
    for place, tree in enumerate(trees):
        name = file if tree.line or len(trees) == 1 else f"{file} entry {place + 1}"
        part, wrong = _part(tree, known, name)
        faults += wrong
        if part is None:
            continue
        entry = _entry(part, now, len(log) + len(taken) + 1)
        for field, value, want in refusals(entry, job=job, log=[*log, *taken], now=now):
            faults.append(_refused(tree, field, value, want, name))
        taken.append(entry)
    if faults:
        raise Faults(LogRefused(str(fault)) for fault in faults)
    return tuple(taken)


def _trees(
    source: bytes | Sequence[Mapping[str, object]], file: str
) -> tuple[list[Node], list[JobFileFault]]:
    if not isinstance(source, bytes):
        return [node_of(given) for given in source], []
    root, faults = tree_of(text_of(source, file), file)
    return root.value if isinstance(root.value, list) else [root], faults


def _part(tree: Node, known: Known, file: str) -> tuple[EntryPart | None, list[JobFileFault]]:
    if not isinstance(tree.value, dict):
        return None, [fault_at((), Said("no entry"), "give keys with values", tree, file)]
    kind = tree.text("kind")
    if kind not in PARTS:
        value = Said("missing") if kind is None else kind
        want = not_among(kind or "", PARTS, "kind of entry")
        return None, [fault_at(("kind",), value, want, tree, file)]
    try:
        return PARTS[kind].model_validate(tree.plain(), context=known), []
    except ValidationError as error:
        return None, list(faults_of(error.errors(include_url=False), PARTS[kind], tree, file))


def _refused(tree: Node, field: str, value: object, want: str, file: str) -> JobFileFault:
    """Return a refusal at the key that a person wrote."""
    inside = tree.value if isinstance(tree.value, dict) else {}
    key = next((k for k in (field, *ALSO.get(field, ())) if k in inside), field)
    return fault_at((key,), tree.text(key) or value, want, tree, file)


def _entry(part: EntryPart, now: datetime, seq: int) -> Entry:
    told = part.told()
    at = part.when or now
    if isinstance(part, ReadingPart):
        at = part.when or part.at or part.until or now
        if part.start is None and part.until is None:
            told["reading"] = replace(told["reading"], at=part.at or at)
    told.setdefault("text", part.note or "")
    if part.photo is not None:
        told["payload"] = {**told.get("payload", {}), "photo": part.photo}
    return Entry(seq=seq, at=at, entered_at=now, kind=part.entry, who=part.who or "", **told)
