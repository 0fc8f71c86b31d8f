"""Bytes of a job file to a tree of texts, each with the line and column where it stands.

Only the part of YAML that a job needs is taken: mappings, lists and plain values. Anchors, tags
and second documents are refused, so a small file stays small; every value is kept as written,
and the schema decides what it means (``off`` stays ``off``, ``2026-11-20`` stays text).
"""

from __future__ import annotations

import re
import stat
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from rules.errors import JobFileFault

if TYPE_CHECKING:
    from ruamel.yaml.error import MarkedYAMLError

MOST_BYTES: Final = 256 * 1024  # a job of 500 tasks takes about 100 kB
MOST_VALUES: Final = 30_000  # keys and values; a job of 1000 tasks has about 20,000
DEEPEST: Final = 16  # the schema itself goes 7 deep
NULLS: Final = frozenset({"", "~", "null", "Null", "NULL"})
NOT_TEXT: Final = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
OPENED: Final = {
    "quoted scalar": "quote",
    "flow sequence": "[ list",
    "flow mapping": "{ mapping",
}
SLIPS: Final = {  # how the parser's words begin, and what a person looks for
    "mapping values are not allowed": "a second `: ` in one line; put the text in quotes",
    "expected <block end>": "its indent does not fit the lines above",
    "expected the node content": "a value is missing here",
    "could not find expected ':'": "a key without `: ` after it",
    "found character": "a text that begins with this sign; put it in quotes",
    "found undefined tag": "a text that begins with !; put it in quotes",
}


class Said(str):
    """Words that stand in a fault where the value would, without quotes."""

    __slots__ = ()

    def __repr__(self) -> str:
        return str(self)


@dataclass(frozen=True, slots=True)
class Node:
    """A value of the file as written, where it stands, and where its keys stand."""

    value: str | dict[str, Node] | list[Node] | None
    line: int  # first is 1; 0 where the value stands in no file
    column: int
    keys: Mapping[str, tuple[int, int]]  # line and column of each key of a mapping

    def plain(self) -> object:
        """Return the value without its places: texts, lists and dicts."""
        if isinstance(self.value, dict):
            return {key: node.plain() for key, node in self.value.items()}
        if isinstance(self.value, list):
            return [node.plain() for node in self.value]
        return self.value

    def child(self, step: str | int) -> Node | None:
        """Return what stands under a key or number; a lone value counts as a list of one."""
        if isinstance(step, str):
            return self.value.get(step) if isinstance(self.value, dict) else None
        if isinstance(self.value, list):
            return self.value[step] if step < len(self.value) else None
        return self

    def at(self, steps: Iterable[str | int]) -> Node | None:
        """Return what stands at a place below, None where nothing does."""
        node: Node | None = self
        for step in steps:
            node = node.child(step) if node is not None else None
        return node

    def text(self, *steps: str | int) -> str | None:
        """Return the text at a place below, None where there is none."""
        node = self.at(steps)
        return node.value if node is not None and isinstance(node.value, str) else None

    def listed(self, key: str) -> list[Node]:
        """Return the list under a key; one value without brackets is a list of one."""
        node = self.child(key)
        if node is None or node.value is None:
            return []
        return node.value if isinstance(node.value, list) else [node]


def node_of(value: object) -> Node:
    """Return plain values as a tree without places: numbers and yes or no become texts."""
    if isinstance(value, Mapping):
        inside = {str(key): node_of(given) for key, given in value.items()}
        return Node(inside, 0, 0, {})
    if isinstance(value, list | tuple):
        return Node([node_of(given) for given in value], 0, 0, {})
    if isinstance(value, bool):
        return Node(str(value).lower(), 0, 0, {})
    return Node(None if value is None else str(value), 0, 0, {})


def load(path: Path) -> bytes:
    """Read a job file's bytes.

    Raises
    ------
    JobFileFault
        If it is not there, not a file, or larger than a job can be; it is then not read.
    """
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            raise JobFileFault(str(path), "the file", Said("not a file"), "name a file")
        if found.st_size > MOST_BYTES:
            raise _too_large(str(path), found.st_size)
        return path.read_bytes()
    except OSError as error:
        said = Said((error.strerror or "not readable").lower())
        raise JobFileFault(str(path), "the file", said, "name a file") from error


def text_of(raw: bytes, file: str) -> str:
    """Decode the bytes of a job file.

    Raises
    ------
    JobFileFault
        If they are too many, are not UTF-8, or hold characters no text has.
    """
    if len(raw) > MOST_BYTES:
        raise _too_large(file, len(raw))
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise JobFileFault(
            file, "this", Said("UTF-16"), "save the file as UTF-8", line=1, column=1
        )
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = raw[: error.start]
        line, column = before.count(b"\n") + 1, error.start - before.rfind(b"\n")
        said = Said(f"the byte {raw[error.start]:#04x}")
        want = "that is not UTF-8; save the file as UTF-8"
        raise JobFileFault(file, "this", said, want, line=line, column=column) from error
    odd = NOT_TEXT.search(text)
    if odd:
        before_odd = text[: odd.start()]
        line = before_odd.count("\n") + 1
        column = odd.start() - before_odd.rfind("\n")
        said = Said(f"the character {ord(odd.group()):#06x}")
        want = "that no text has; take it out"
        raise JobFileFault(file, "this", said, want, line=line, column=column)
    return text


def tree_of(text: str, file: str) -> tuple[Node, list[JobFileFault]]:
    """Read YAML into a tree, with a fault for every key that stands twice.

    Raises
    ------
    JobFileFault
        If it is no YAML, or uses more of YAML than a job needs.
    """
    from ruamel.yaml import YAML  # only a run that reads a job pays for it
    from ruamel.yaml.error import MarkedYAMLError, YAMLError

    builder = _Builder(file, YAML(typ="safe", pure=True).parse(text))
    try:
        return builder.document(), builder.faults
    except MarkedYAMLError as error:
        raise _not_yaml(error, text, file) from error
    except (YAMLError, ValueError) as error:
        raise JobFileFault(file, "this", Said("not YAML"), str(error)) from error


class _Builder:
    """Builds the tree from the parser's events, which come one at a time."""

    def __init__(self, file: str, events: Iterator[object]) -> None:
        self.file, self.events = file, events
        self.faults: list[JobFileFault] = []
        self.values = 0

    def document(self) -> Node:
        """Return the one document's tree."""
        event = self._next()
        while _kind(event) in {"StreamStart", "DocumentStart"}:
            event = self._next()
        if _kind(event) == "StreamEnd":
            raise JobFileFault(
                self.file, "the file", Said("empty"), "begin with `closein: 1`", line=1
            )
        tree = self._node(event, depth=0)
        self._next()  # the document's end
        after = self._next()
        if _kind(after) != "StreamEnd":
            raise self._refused(after, "a second document", "keep one job in one file")
        return tree

    def _next(self) -> object:
        return next(self.events)

    def _node(self, event: object, depth: int) -> Node:
        kind = _kind(event)
        if kind == "Alias" or getattr(event, "anchor", None):
            sign = "*" if kind == "Alias" else "&"
            raise self._refused(
                event,
                f"{sign}{getattr(event, 'anchor', '')}",
                "anchors and aliases are not used in a job file; write the value out",
            )
        if getattr(event, "ctag", None) is not None:
            tag = str(getattr(event, "tag", "!"))
            raise self._refused(event, tag, "tags are not used in a job file; take it out")
        if depth > DEEPEST:
            want = f"a job file nests at most {DEEPEST} deep"
            raise self._refused(event, "nested too deep", want)
        self.values += 1
        if self.values > MOST_VALUES:
            want = f"a job file has at most {MOST_VALUES} keys and values"
            raise self._refused(event, "one too many", want)
        line, column = _place(event)
        if kind == "MappingStart":
            keys: dict[str, tuple[int, int]] = {}
            return Node(self._mapping(depth, keys), line, column, keys)
        if kind == "SequenceStart":
            return Node(self._list(depth), line, column, {})
        return Node(_scalar(event), line, column, {})

    def _mapping(self, depth: int, keys: dict[str, tuple[int, int]]) -> dict[str, Node]:
        inside: dict[str, Node] = {}
        while _kind(event := self._next()) != "MappingEnd":
            key = self._node(event, depth + 1)
            if not isinstance(key.value, str):
                raise self._refused(event, "a key that is not a word", "write `key: value`")
            node = self._node(self._next(), depth + 1)
            if key.value in inside:
                first = keys[key.value][0]
                self.faults.append(
                    JobFileFault(
                        self.file,
                        key.value,
                        Said("given twice"),
                        f"it stands in line {first} already; keep one",
                        line=key.line,
                        column=key.column,
                    )
                )
                continue
            inside[key.value], keys[key.value] = node, (key.line, key.column)
        return inside

    def _list(self, depth: int) -> list[Node]:
        inside: list[Node] = []
        while _kind(event := self._next()) != "SequenceEnd":
            inside.append(self._node(event, depth + 1))
        return inside

    def _refused(self, event: object, said: str, want: str) -> JobFileFault:
        line, column = _place(event)
        return JobFileFault(self.file, "this", Said(said), want, line=line, column=column)


def _kind(event: object) -> str:
    return type(event).__name__.removesuffix("Event")


def _place(event: object) -> tuple[int, int]:
    mark = event.start_mark  # type: ignore[attr-defined]  # every event of the parser has one
    return mark.line + 1, mark.column + 1


def _scalar(event: object) -> str | None:
    value: str = event.value  # type: ignore[attr-defined]  # a scalar event
    if any("\ud800" <= letter <= "\udfff" for letter in value):  # \ud83d\ude00 as JSON writes it
        value = value.encode("utf-16", "surrogatepass").decode("utf-16")
    quoted = event.style is not None  # type: ignore[attr-defined]
    return None if not quoted and value in NULLS else value


def _not_yaml(error: MarkedYAMLError, text: str, file: str) -> JobFileFault:
    """Say where a text stops being YAML and what may be the slip."""
    context, problem = str(error.context or ""), str(error.problem or "cannot be read")
    mark = error.problem_mark or error.context_mark
    opened = re.search(r"(quoted scalar|flow sequence|flow mapping)$", context)
    if opened and error.context_mark:
        mark = error.context_mark
        want = f"the {OPENED[opened[1]]} that opens here is not closed"
    else:
        want = next((say for begin, say in SLIPS.items() if problem.startswith(begin)), problem)
    line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
    lines = text.splitlines()
    at = lines[line - 1] if line <= len(lines) else ""
    said = Said("not YAML")
    if "\t" in at[: len(at) - len(at.lstrip())]:
        said, want = Said("a tab"), "indent with spaces"
    return JobFileFault(file, "this", said, want, line=line, column=column)


def _too_large(file: str, size: int) -> JobFileFault:
    said = Said(f"{size / 1e6:.1f} MB")
    return JobFileFault(file, "the file", said, f"it may have at most {MOST_BYTES // 1024} kB")
