"""JSON from outside, read strictly: every fault with its place, size bounded, nothing guessed.

Python's own reader takes ``NaN``, keeps the last of two equal keys and names no line for a value
inside. Here equal keys and ``NaN`` are faults, and the line of a value is found, only when there
is a fault to tell, by walking the text once more.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable

from rules.errors import Faults, WeatherFileFault

Path = tuple[str | int, ...]

LARGEST_BYTES = 16_000_000  # a national alert list is 2 MB, a gridpoint answer 0.2 MB
LONGEST_WALK = 2_000_000  # characters; in longer texts faults are told without their line
MOST_FAULTS = 50  # more than this helps nobody; the rest is counted
_SPACE = re.compile(r"[ \t\n\r]*")
_STRING = re.compile(r'"[^"\\]*(?:\\.[^"\\]*)*"', re.DOTALL)
_SCALAR = re.compile(r"[^\s,\]}]+")


class JsonDocument:
    """One JSON text, what it holds, and the faults found in it so far."""

    def __init__(self, raw: bytes, file: str) -> None:
        """Read the text.

        Raises
        ------
        Faults
            If the bytes are not JSON, or too many.
        """
        self.file = file
        self._faults: list[tuple[Path, object, str]] = []
        self.text = decoded(raw, file)
        self.data = self._loaded()

    def fault(self, path: Path, value: object, want: str) -> None:
        """Note one fault: where, the value there, and what would be right."""
        self._faults.append((path, value, want))

    def faults(self) -> list[WeatherFileFault]:
        """Return the faults found so far, each with its line, in order of the text."""
        if not self._faults:
            return []
        shown = self._faults[:MOST_FAULTS]
        short = len(self.text) <= LONGEST_WALK
        lines = lines_of(self.text, {path for path, _, _ in shown}) if short else {}
        told = [
            WeatherFileFault(self.file, spoken(path), value, want, line=lines.get(path))
            for path, value, want in shown
        ]
        told.sort(key=lambda fault: fault.line or 0)
        more = len(self._faults) - MOST_FAULTS
        if more > 0:
            told.append(WeatherFileFault(self.file, "the file", f"{more} more", "mend these too"))
        return told

    def refuse_faulty(self) -> None:
        """Raise all faults found so far.

        Raises
        ------
        Faults
            If there are any.
        """
        if self._faults:
            raise Faults(self.faults())

    def _loaded(self) -> object:
        twice: list[str] = []

        def one_of_each(pairs: list[tuple[str, object]]) -> dict[str, object]:
            found = dict(pairs)
            if len(found) != len(pairs):
                seen: set[str] = set()
                for key, _ in pairs:
                    if key in seen:
                        twice.append(key)
                    seen.add(key)
            return found

        try:
            data: object = json.loads(
                self.text, object_pairs_hook=one_of_each, parse_constant=_no_constant
            )
        except json.JSONDecodeError as error:
            raise Faults([self._broken(error)]) from error
        except RecursionError as error:
            want = "a weather answer nests a few levels, this one hundreds"
            raise Faults([WeatherFileFault(self.file, "the text", "too deep", want)]) from error
        except ValueError as error:  # NaN, Infinity, or an integer of thousands of digits
            want = "give a number of a few digits, or null for a gap"
            raise Faults([WeatherFileFault(self.file, "a value", str(error), want)]) from error
        if twice:
            wanted = "give each key once; which of the two is meant cannot be known"
            raise Faults(
                WeatherFileFault(self.file, "key", key, wanted, line=self._second(key))
                for key in dict.fromkeys(twice)
            )
        return data

    def _broken(self, error: json.JSONDecodeError) -> WeatherFileFault:
        rest = self.text[error.pos : error.pos + 30]
        want = (
            "the text ends here in mid answer; fetch the file again"
            if not rest.strip()
            else f"not JSON here: {error.msg.lower()}"
        )
        return WeatherFileFault(
            self.file, "the text", rest, want, line=error.lineno, column=error.colno
        )

    def _second(self, key: str) -> int | None:
        quoted = re.escape(json.dumps(key))
        spots = [found.start() for found in re.finditer(rf"{quoted}\s*:", self.text)]
        return self.text.count("\n", 0, spots[1]) + 1 if len(spots) > 1 else None


def spoken(path: Path) -> str:
    """Return a path as people write it: ``temperature.values[3].value``."""
    text = ""
    for step in path:
        text += f"[{step}]" if isinstance(step, int) else f".{step}" if text else str(step)
    return text or "the file"


def lines_of(text: str, wanted: Iterable[Path]) -> dict[Path, int]:
    """Return the line of each wanted path that the text holds; of the parent where it does not.

    Walks valid JSON iteratively, so depth is no danger.
    """
    paths = set(wanted)
    prefixes = {path[:n] for path in paths for n in range(len(path) + 1)}
    found: dict[Path, int] = {}
    at, line, counted = 0, 1, 0
    stack: list[str | int] = []  # keys and indices from the top down to here
    objects: list[bool] = []  # for each open container: is it an object
    while at < len(text):
        at = _skip(text, at)
        line, counted = line + text.count("\n", counted, at), at
        path = tuple(stack)
        if path in prefixes:
            found.setdefault(path, line)
        char = text[at] if at < len(text) else ""
        if char in "{[" and char:
            at = _skip(text, at + 1)
            if text[at] in "}]":
                at += 1
            else:
                objects.append(char == "{")
                if char == "{":
                    at = _key(text, at, stack)
                else:
                    stack.append(0)
                continue
        else:
            scalar = (_STRING if char == '"' else _SCALAR).match(text, at)
            at = scalar.end() if scalar else len(text)
        at = _next(text, at, stack, objects)
        if not objects:
            break
    return {path: _nearest(path, found) for path in paths}


def _nearest(path: Path, found: dict[Path, int]) -> int:
    return next(found[path[:n]] for n in range(len(path), -1, -1) if path[:n] in found)


def _next(text: str, at: int, stack: list[str | int], objects: list[bool]) -> int:
    """Step past a finished value: to the next key or index, closing what ends."""
    at = _skip(text, at)
    while objects and at < len(text) and text[at] in "}]":
        objects.pop()
        stack.pop()
        at = _skip(text, at + 1)
    if objects and at < len(text) and text[at] == ",":
        last = stack.pop()
        if objects[-1]:
            return _key(text, _skip(text, at + 1), stack)
        stack.append(int(last) + 1)
        return at + 1
    return at


def _key(text: str, at: int, stack: list[str | int]) -> int:
    found = _STRING.match(text, at)
    if found is None:  # only in text that is not JSON, which is refused before
        return len(text)
    stack.append(json.loads(found.group()))
    return _skip(text, found.end()) + 1  # past the colon


def _skip(text: str, at: int) -> int:
    found = _SPACE.match(text, at)
    return found.end() if found else at


def decoded(raw: bytes, file: str, most: int = LARGEST_BYTES) -> str:
    """Return bytes from outside as text.

    Raises
    ------
    Faults
        If they are too many, hold zero bytes, or are not UTF-8.
    """
    if len(raw) > most:
        want = f"a weather file is smaller than {most / 1e6:.0f} MB"
        raise Faults([WeatherFileFault(file, "size", f"{len(raw) / 1e6:.0f} MB", want)])
    nul = raw.find(b"\0")
    if nul >= 0:
        line = raw.count(b"\n", 0, nul) + 1
        want = "holds zero bytes; a text is wanted, fetch the file again"
        raise Faults([WeatherFileFault(file, "the text", "\0", want, line=line)])
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        bad = raw[error.start : error.start + 4]
        want = "not UTF-8 text; save the file as UTF-8"
        raise Faults([WeatherFileFault(file, "the text", bad, want, line=line)]) from error


def _no_constant(name: str) -> float:
    raise ValueError(name)
