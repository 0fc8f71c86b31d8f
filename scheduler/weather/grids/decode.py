"""Decoding GRIB2 data in a child process: a crash or a hang there is one line here."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
import threading
from pathlib import Path
from types import TracebackType
from typing import Final, Self

import numpy as np

from rules.errors import BadInput
from rules.verdict import FloatArray
from scheduler.weather.grids.decoder_process import ANSWER, REQUEST, VALUES
from scheduler.weather.grids.framing import Bytes
from scheduler.weather.grids.grid import IntArray

PROGRAM: Final = Path(__file__).with_name("decoder_process.py")
PATIENCE_S: Final = 60.0  # for one field; the slowest packing takes below one second
PIPE_BYTES: Final = 1 << 20  # a few hand-overs for each field; where it can be asked for
NOT_INSTALLED: Final = "GRIB2 files need the grids extra: pip install 'closein[grids]'"


class DecodeFault(BadInput):
    """A field that the decoder cannot read, or that stopped it."""


class Decoder:
    """One child process that decodes field after field; it is started when first needed.

    A field that brings the child down costs that field only: the next one gets a new child.
    """

    def __init__(self, *, patience_s: float = PATIENCE_S) -> None:
        self._patience_s = patience_s
        self._child: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the child."""
        child, self._child = self._child, None
        if child is not None:
            child.kill()
            child.communicate()

    def values(
        self, message: Bytes, at: IntArray | None = None, *, single: bool = False
    ) -> FloatArray:
        """Decode a message.

        Parameters
        ----------
        message : bytes or view
            A whole GRIB2 message of one field.
        at : (...) integers, optional
            Positions in the message; without them all values are returned.
        single : bool
            Single precision, for whole grids: seven figures, half the memory.

        Returns
        -------
        (...) or (points,)
            Values in the file's unit and order; NaN where the field has none.

        Raises
        ------
        DecodeFault
            If the message cannot be decoded, stopped the decoder, or took too long.
        BadInput
            If ecCodes is not installed.
        """
        places = np.zeros(0, dtype=np.int64) if at is None else np.ascontiguousarray(at, np.int64)
        if at is not None and not places.size:
            return np.zeros(places.shape)
        child = self._started()
        late = threading.Timer(self._patience_s, child.kill)
        late.start()
        try:
            values = _ask(child, message, places, 4 if single else 8)
        except (EOFError, OSError) as error:
            hung = not late.is_alive()
            self.close()
            how = f"took longer than {self._patience_s:g} s" if hung else "stopped the decoder"
            raise DecodeFault(f"the field {how}; damaged") from error
        finally:
            late.cancel()
        return values if at is None else values.reshape(places.shape)

    def _started(self) -> subprocess.Popen[bytes]:
        if self._child is None:
            if importlib.util.find_spec("eccodes") is None:
                raise BadInput(NOT_INSTALLED)
            self._child = subprocess.Popen(  # noqa: S603 - our own program, by its path
                [sys.executable, "-P", str(PROGRAM)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                pipesize=PIPE_BYTES,
            )
        return self._child


def _ask(
    child: subprocess.Popen[bytes], message: Bytes, places: IntArray, width: int
) -> FloatArray:
    assert child.stdin is not None and child.stdout is not None  # noqa: PT018 - both are pipes
    head = REQUEST.pack(len(message), places.size, width)
    for part in (head, message, places.tobytes()):
        child.stdin.write(part)
    child.stdin.flush()
    head = child.stdout.read(ANSWER.size)
    if len(head) < ANSWER.size:
        raise EOFError
    kind, size = ANSWER.unpack(head)
    content = child.stdout.read(size)
    if len(content) < size:
        raise EOFError
    if kind != VALUES:
        raise DecodeFault(f"the field cannot be decoded: {content.decode('utf-8', 'replace')}")
    return np.frombuffer(content, dtype=f"<f{width}")
