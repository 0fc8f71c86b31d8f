"""The four verdicts and how they combine."""

from __future__ import annotations

from enum import IntEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
VerdictArray = NDArray[np.int8]


class Verdict(IntEnum):
    """Graver verdicts are larger, so limits combine by the largest."""

    GO = 0
    GO_WITH_PROTECTION = 1
    NOT_KNOWN = 2
    NO_GO = 3


WORDS: Final = {
    Verdict.GO: "go",
    Verdict.GO_WITH_PROTECTION: "go with protection",
    Verdict.NOT_KNOWN: "not known",
    Verdict.NO_GO: "no-go",
}
KEYS: Final = {
    Verdict.GO: "go",
    Verdict.GO_WITH_PROTECTION: "go_with_protection",
    Verdict.NOT_KNOWN: "not_known",
    Verdict.NO_GO: "no_go",
}
