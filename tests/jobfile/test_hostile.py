"""Files that are no job file at all: refused in a line, fast, in little memory."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules.errors import Faults
from scheduler.jobfile import parse, read
from tests.jobfile.test_malformed import BASE

ROOT = Path(__file__).resolve().parents[2]
MOST_S = 5.0
MOST_MB = 500

BOMB = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"{b}: &{b} [{', '.join([f'*{a}'] * 9)}]\n"
    for a, b in zip("abcdefgh", "bcdefghi", strict=True)
)
MERGES = "a: &a {b: 1}\nc: &c {<<: *a}\nd: {<<: [*a, *c]}\n"

HEAD = BASE[: BASE.index("tasks:")] + "tasks:\n"
FAULTY = "  - {id: t%d, work_type: lay_blok%d, duration_h: x, crew: mason%d, after: [t_%d]}\n"
RING = "  - {id: t%d, work_type: lay_block, duration_h: 1, after: [t%d]}\n"

HOSTILE: dict[str, tuple[bytes, str]] = {
    "not UTF-8": (b"name: M\xfcller\n", ":1:8: this is the byte 0xfc; that is not UTF-8"),
    "UTF-16": (BASE.encode("utf-16"), ":1:1: this is UTF-16; save the file as UTF-8"),
    "a NUL": (b"closein: 1\nname: Li\0ft\n", ":2:9: this is the character 0x0000"),
    "a control character": (b"name: \x1bLift\n", ":1:7: this is the character 0x001b"),
    "zeros": (bytes(200_000), ":1:1: this is the character 0x0000"),
    "random bytes": (bytes(range(128, 256)) * 40, ":1:1: this is the byte 0x80"),
    "600 kB": (b"#" * 600_000, ": the file is 0.6 MB; it may have at most 256 kB"),
    "an anchor bomb": (BOMB.encode(), ":1:4: this is &a; anchors and aliases are not used"),
    "merge keys": (MERGES.encode(), ":1:4: this is &a; anchors and aliases are not used"),
    "an anchor that holds itself": (b"a: &a [*a]\n", ":1:4: this is &a"),
    "deep lists": (b"a: " + b"[" * 200_000, ":1:20: this is nested too deep; a job file nests"),
    "deep mappings": (b"{a: " * 60_000, ":1:66: this is nested too deep"),
    "deep blocks": (
        "".join(" " * n + "a:\n" for n in range(600)).encode(), ":17:17: this is nested too deep",
    ),
    "one long line": (b"a: " + b"x" * 200_000, "a is an unknown key"),
    "one long key": (b"k" * 5_000 + b": 1\n", "this is not YAML"),
    "many keys": ("".join(f"k{n}: 1\n" for n in range(25_000)).encode(), "this is one too many"),
    "many unknown keys": ("".join(f"k{n}: 1\n" for n in range(9_000)).encode(), "more follow"),
    "many faulty tasks": (
        (HEAD + "".join(FAULTY % (n, n, n, n) for n in range(1900))).encode(), "give fewer: ",
    ),
    "a thousand faulty tasks": (
        (HEAD + "".join(FAULTY % (n, n, n, n) for n in range(1000))).encode(), "more follow",
    ),
    "a ring of 2000": (
        (HEAD + "".join(RING % (n, (n + 1) % 2000) for n in range(2000))).encode(),
        "tasks.t0.after is t0 → t1999 →",
    ),
    "a quote never closed": (
        b'a: "' + b"b\n" * 100_000, ":1:4: this is not YAML; the quote that opens here is not",
    ),
    "JSON that stops": (b'{"closein": 1, "tasks": [{"id": ', ":1:33: this is not YAML"),
    "commas": (b"[" + b"," * 200_000, ":1:2: this is not YAML"),
    "questions": (b"? " * 100_000, "this is"),
    "dashes": (b"- " * 100_000, ":1:35: this is nested too deep"),
}  # fmt: skip


@pytest.mark.parametrize(("raw", "says"), HOSTILE.values(), ids=list(HOSTILE))
def test_it_is_refused_in_a_clear_line_and_fast(raw: bytes, says: str, tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_bytes(raw)
    begun = time.process_time()
    with pytest.raises(Faults) as caught:
        read(path)
    assert time.process_time() - begun < MOST_S
    assert any(says in line for line in caught.value.lines()), caught.value.lines()[:3]
    assert all(len(line) < 10_000 and "\n" not in line for line in caught.value.lines())


CHILD = """
import sys
from rules.errors import Faults
from scheduler.jobfile import read
try:
    read(sys.argv[1])
except Faults as fault:
    print(*fault.lines(), sep="\\n")
    sys.exit(2)
"""


def limited() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MB << 20, MOST_MB << 20))


@pytest.mark.skipif(sys.platform != "linux", reason="memory limits are Linux's")
@pytest.mark.parametrize("name", ["200 MB of zeros", "an anchor bomb", "deep lists", "questions"])
def test_it_is_refused_within_500_mb(name: str, tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    if name in HOSTILE:
        path.write_bytes(HOSTILE[name][0])
    else:
        with path.open("wb") as file:
            file.truncate(200 << 20)
    done = subprocess.run(
        [sys.executable, "-c", CHILD, str(path)],
        check=False, capture_output=True, text=True, timeout=300, cwd=ROOT, preexec_fn=limited,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (2, "")
    assert done.stdout.startswith(str(path))


def test_what_is_no_file_is_said_so(tmp_path: Path) -> None:
    with pytest.raises(Faults, match="no such file or directory; name a file"):
        read(tmp_path / "none.yaml")
    with pytest.raises(Faults, match="is not a file"):
        read(tmp_path)
    with pytest.raises(Faults, match="is not a file"):
        read("/dev/zero")


def test_what_people_may_well_write_is_taken() -> None:
    job = parse(BASE)
    assert parse(BASE.replace("\n", "\r\n")) == job
    assert parse("\ufeff" + BASE) == job
    assert parse(BASE.replace("[{task: lay, wait_h: 24}]", "{task: lay, wait_h: 24}")) == job
    assert parse(BASE.replace("mon-fri", "'mon, tue-fri'")) == job
    assert parse("# mine\n---\n" + BASE + "...\n") == job
    assert parse(BASE.replace("North end lift", "Nordhügel 🏠")).name == "Nordhügel 🏠"


SIGNS = st.sampled_from([*"abkt:{}[],-#&*!|>'\"%@`? \n\t0.9~", "tasks", ": ", "\n  - "])


@given(st.lists(SIGNS, max_size=60).map("".join) | st.text(max_size=80))
@settings(max_examples=300)
def test_no_text_breaks_the_reader(text: str) -> None:
    with pytest.raises(Faults):
        parse(text)


@given(
    place=st.integers(0, len(BASE)),
    cut=st.integers(0, 12),
    put=st.text(max_size=6) | st.lists(SIGNS, max_size=4).map("".join),
)
@settings(max_examples=400, suppress_health_check=[HealthCheck.too_slow])
def test_a_slip_anywhere_gives_a_job_or_lines_with_places(place: int, cut: int, put: str) -> None:
    lines: list[str] = []
    try:
        parse(BASE[:place] + put + BASE[place + cut :])
    except Faults as faults:
        lines = faults.lines()
        assert lines  # there may be no fault at all
    assert all(line.startswith("job.yaml") for line in lines)
