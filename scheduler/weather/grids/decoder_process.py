"""The GRIB decoder proper, run as a program of its own: messages in, numbers out.

ecCodes' compiled library brings down a process that also holds the PostgreSQL driver or pyproj,
and a damaged message can bring it down by itself. Here it can do neither any harm. Requests come
on standard input and answers go to standard output, both as a fixed head and raw arrays; nothing
else of the package is imported.
"""

from __future__ import annotations

import contextlib
import os
import struct
import sys
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

REQUEST = struct.Struct("<QQB")  # bytes of message, number of positions (0: all), bytes of a value
ANSWER = struct.Struct("<BQ")  # 0 values, 1 a line of text; bytes that follow
VALUES, REFUSAL = 0, 1
ABSENT = -1.5e300  # stands for points without a value; no packing can make it
MOST_MEMORY = 6 << 30  # bytes; a field of the finest global grid needs below one gigabyte


def decode(message: bytes, at: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return values at stored positions, all where none are named; NaN where there is none."""
    import eccodes  # the extra may be absent: the answer is then a line

    handle = eccodes.codes_new_from_message(message)
    try:
        eccodes.codes_set(handle, "missingValue", ABSENT)
        values: NDArray[np.float64] = eccodes.codes_get_array(handle, "values")
    finally:
        eccodes.codes_release(handle)
    picked = values[at] if at.size else values
    picked[picked == ABSENT] = np.nan
    return picked


def answer(message: bytes, at: NDArray[np.int64], width: int) -> tuple[int, memoryview | bytes]:
    """Decode, and turn what goes wrong into a line."""
    try:
        values = decode(message, at).astype(f"<f{width}", copy=False)
        return VALUES, values.data.cast("B")
    except Exception as error:  # whatever the library raises goes back as text
        return REFUSAL, f"{type(error).__name__}: {error}".encode()


def serve(requests: BinaryIO, answers: BinaryIO) -> None:
    """Answer requests until the input ends."""
    while len(head := requests.read(REQUEST.size)) == REQUEST.size:
        size, count, width = REQUEST.unpack(head)
        message = requests.read(size)
        at = np.frombuffer(requests.read(8 * count), dtype=np.int64)
        kind, content = answer(message, at, width)
        answers.write(ANSWER.pack(kind, len(content)))
        answers.write(content)
        answers.flush()


def main() -> None:
    """Keep the answers apart from whatever the library prints, and limit the memory."""
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource  # not on every system

        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    serve(sys.stdin.buffer, answers)


if __name__ == "__main__":
    main()
