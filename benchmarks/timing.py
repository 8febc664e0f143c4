"""Seconds of a call that has been made before."""

from __future__ import annotations

import time
from collections.abc import Callable


def warm(call: Callable[[], object], times: int, clock: Callable[[], float] = time.perf_counter) -> list[float]:
    """Of so many calls after a first one, by this clock."""
    call()
    seen = []
    for _ in range(times):
        started = clock()
        call()
        seen.append(clock() - started)
    return seen
