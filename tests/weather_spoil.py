"""Spoil recorded files of every kind and read each: refused or read, and never anything else.

Run ``python -m tests.weather_spoil FOLDER --files 2000``. A file is cut short, has bytes turned,
pieces taken out, doubled or swapped, numbers and units changed, lines shuffled, encodings changed,
or is joined with another file. Exits 1 where reading ended in a traceback or took too long.
"""

from __future__ import annotations

import argparse
import random
import re
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from tests.weather_files import judged

LARGEST = 12_000_000  # bytes; larger files only take longer
SLOW_S = 20.0
Spoiler = Callable[[bytes, random.Random], bytes]


def _cut(raw: bytes, rng: random.Random) -> bytes:
    return raw[: rng.randrange(len(raw) + 1)]


def _beheaded(raw: bytes, rng: random.Random) -> bytes:
    return raw[rng.randrange(min(len(raw), 400) + 1) :]


def _flipped(raw: bytes, rng: random.Random) -> bytes:
    spoilt = bytearray(raw)
    reach = len(spoilt) if rng.random() < 0.5 else min(len(spoilt), 300)  # heads say the most
    for _ in range(rng.randint(1, 12)):
        spoilt[rng.randrange(reach)] = rng.choice([0, 1, 0x7F, 0x80, 0xFF, rng.randrange(256)])
    return bytes(spoilt)


def _piece_out(raw: bytes, rng: random.Random) -> bytes:
    a, b = sorted(rng.randrange(len(raw) + 1) for _ in range(2))
    b = min(b, a + 2000)
    return raw[:a] + raw[b:]


def _doubled(raw: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(raw) + 1)
    return raw + raw if rng.random() < 0.3 else raw[:at] + raw[max(at - 500, 0) : at] + raw[at:]


def _lines(raw: bytes, rng: random.Random) -> bytes:
    lines = raw.split(b"\n")
    a, b = rng.randrange(len(lines)), rng.randrange(len(lines))
    lines[a], lines[b] = lines[b], lines[a]
    if rng.random() < 0.3:
        del lines[a : a + rng.randint(1, 5)]
    return b"\n".join(lines)


def _numbers(raw: bytes, rng: random.Random) -> bytes:
    odd = [
        b"-9999",
        b"1e308",
        b"",
        b"NaN",
        b"null",
        b'"7"',
        b"007",
        b"-0",
        b"99999999999999999999",
    ]
    found = list(re.finditer(rb"-?\d+(?:\.\d+)?", raw[:200_000]))
    for one in rng.sample(found, min(len(found), rng.randint(1, 4))):
        raw = raw[: one.start()] + rng.choice(odd) + raw[one.end() :]
    return raw


def _words(raw: bytes, rng: random.Random) -> bytes:
    pairs = [
        (b"degC", b"degF"), (b"km_h-1", b"m_s-1"), (b"wmoUnit:", b"unit:"), (b"+00:00", b"-05:00"),
        (b"mph", b"km/h"), (b"temperature", b"temp"), (b",", b";"), (b"\n", b"\r\n"),
        (b"2026", b"2126"), (b"PT1H", b"PT7M"), (b"TMAX", b"TMIN"), (b"Z", b""), (b"null", b"0"),
        (b"values", b"value"), (b"time", b"Time"), (b"K", b"C"), (b"days since", b"hours since"),
    ]  # fmt: skip
    old, new = rng.choice(pairs)
    return raw.replace(old, new, rng.choice([1, 10, -1]))


def _encoded(raw: bytes, rng: random.Random) -> bytes:
    text = raw.decode("latin-1")
    return rng.choice([
        b"\xef\xbb\xbf" + raw, text.encode("utf-16"), text.encode("utf-16-be"), raw + b"\0",
        b"\n\n" + raw, b"# heading\n" + raw, raw.replace(b"\n", b"\r"), b"GRIB\0" + raw,
    ])  # fmt: skip


ALL: tuple[Spoiler, ...] = (
    _cut, _beheaded, _flipped, _flipped, _piece_out, _doubled, _lines, _numbers, _words, _encoded,
)  # fmt: skip


def spoilt_and_read(folder: Path, files: int, seed: int) -> tuple[Counter[str], list[str]]:
    """Return how many spoilt files ended how, and every complaint."""
    rng = random.Random(seed)
    paths = [
        p for p in sorted(folder.rglob("*")) if p.is_file() and 0 < p.stat().st_size < LARGEST
    ]
    paths = [p for p in paths if p.parent.name in {"nws", "obs", "idx", "grib2"}] or paths
    ends: Counter[str] = Counter()
    complaints: list[str] = []
    with tempfile.TemporaryDirectory() as place:
        for number in range(files):
            path = rng.choice(paths)
            raw = path.read_bytes()
            did = [rng.choice(ALL) for _ in range(rng.choice([1, 1, 1, 2]))]
            for spoil in did:
                raw = spoil(raw, rng) if raw else raw
            file = Path(place) / f"{number}{path.suffix}"
            file.write_bytes(raw)
            began = time.monotonic()
            told, trace = judged(file)
            took = time.monotonic() - began
            name = f"file {number} of {path.name} ({', '.join(s.__name__ for s in did)})"
            if trace:
                complaints.append(f"{name}:\n{trace}")
            if took > SLOW_S:
                complaints.append(f"{name} took {took:.0f} s")
            if "\n" in told.verdict:
                complaints.append(f"{name}: a verdict of several lines")
            ends[told.verdict.split(":")[0].split()[0] if not trace else "broke"] += 1
            file.unlink()
    return ends, complaints


def main() -> int:
    """Run from the command line; 1 where anything was wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--files", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    ends, complaints = spoilt_and_read(given.folder, given.files, given.seed)
    for line in complaints[:10]:
        print(line)
    print(f"{given.files} spoilt files: {dict(ends)}; {len(complaints)} complaints")
    return 1 if complaints else 0


if __name__ == "__main__":
    sys.exit(main())
