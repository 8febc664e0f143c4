"""Equal pieces one after the other: the first is looked at before the second is begun, then every tenth, and the last.

Common practice, no source. What stands between the last good check and a bad one is in doubt.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from proofpatch.physics.setting import finite_number

EVERY = 10
MOST = 10_000


@dataclass(frozen=True)
class Batch:
    """What is to be checked. due: numbers of pieces that need a check, from 1. next: the first of them without one.

    hold: the piece that is not begun before `next` is checked, or None. suspect: pieces to look at again, after a bad
    check. words: for the run sheet.
    """

    due: tuple[int, ...]
    next: int | None
    hold: int | None
    suspect: tuple[int, ...]
    words: str


def due_checks(pieces: int) -> tuple[int, ...]:
    """The first-off, every tenth, and the last.

    Raises:
        InputError: no such number of pieces.
    """
    n = int(finite_number("pieces", "The number of pieces", pieces, 1, MOST, ""))
    return tuple(sorted({1, n, *range(EVERY, n + 1, EVERY)}))


def batch(pieces: int, checked: Mapping[int, bool]) -> Batch:
    """Where a batch stands.

    Args:
        pieces: in all. checked: {number of the piece: whether it was good}; other than due ones may be among them.

    Raises:
        InputError: no such number of pieces.
    """
    due = due_checks(pieces)
    bad = sorted(number for number, good in checked.items() if not good)
    if bad:
        good = max((number for number, fine in checked.items() if fine and number < bad[0]), default=0)
        suspect = tuple(range(good + 1, bad[0]))
        words = f"Piece {bad[0]} was not good. Stop the batch and find why before piece {bad[0] + 1}."
        if len(suspect) == 1:
            words += f" Piece {suspect[0]}, since the last good check, is looked at again."
        elif suspect:
            words += f" Pieces {suspect[0]} to {suspect[-1]}, since the last good check, are looked at again."
        return Batch(due, None, bad[0] + 1, suspect, words)
    missing = next((number for number in due if number not in checked), None)
    if missing is None:
        return Batch(due, None, None, (), f"All {len(due)} checks of {int(pieces)} pieces were good.")
    what = "The first-off" if missing == 1 else f"Piece {missing}"
    words = f"{what} is graded before the next is begun; then every {EVERY}th and the last."
    return Batch(due, missing, missing + 1 if missing < due[-1] else None, (), words)
