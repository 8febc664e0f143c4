"""When things happened, by a clock that may have been put back: what came later did not happen earlier."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

# A log counts whole seconds, and a form takes a moment; common practice, no source.
AT_ONCE = datetime.timedelta(seconds=2)
LEAST = datetime.timedelta(microseconds=1)  # between two of them


def steadied(rows: Sequence[tuple[datetime.datetime, datetime.datetime]]) -> list[datetime.datetime]:
    """When each of these happened, on a scale that never runs back.

    A phone that was away sends what happened earlier: such a row keeps its place by its time. But where the clock of
    the shop itself stands before what it said last, it was put back: the scale goes on from there, and all that
    follows counts so much later.

    Args:
        rows: in the order they were written: (when that was, by the shop's clock; when it happened, as it says itself).
    """
    found = []
    before, scale = None, None
    for written, said in rows:
        scale = written if before is None or scale is None else scale + max(written - before, LEAST)
        before, behind = written, scale - written
        if behind <= LEAST * len(rows):
            found.append(said)
        else:
            found.append(scale if abs(written - said) < AT_ONCE else said + behind)
    return found
