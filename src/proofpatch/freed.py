"""Gives back to the system what memory nothing uses any more, while the shop is open.

A forecast takes tens of megabytes for a moment, and what is kept for later comes to lie between: the C library then
holds the free pieces, a few megabytes more each minute.
"""

from __future__ import annotations

import ctypes
import threading
import time
from collections.abc import Callable

EVERY = 30.0  # s; common practice, no source


def giver() -> Callable[[], object] | None:
    """Gives back what is free: `malloc_trim` of the GNU C library (its manual page); None where another is at work."""
    try:
        trim = ctypes.CDLL(None).malloc_trim
    except (AttributeError, OSError, TypeError):
        return None
    return lambda: trim(ctypes.c_size_t(0))


def keep_giving(every: float = EVERY) -> None:
    """From now on, until the program ends."""
    give = giver()
    if give is None:
        return

    def often() -> None:
        while True:
            time.sleep(every)
            give()

    threading.Thread(target=often, daemon=True).start()
