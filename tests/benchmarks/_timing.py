"""The one way benchmarks take the time of a step in this process: of the processor.

A busy machine stretches the wall's time by what others do; the processor's time it lets be.
"""

from __future__ import annotations

import time
from collections.abc import Callable


def fastest(work: Callable[[], object], rounds: int = 5) -> float:
    """Return the shortest time that the processor took for some work, in seconds."""
    took = []
    for _ in range(rounds):
        began = time.process_time()
        work()
        took.append(time.process_time() - began)
    return min(took)
