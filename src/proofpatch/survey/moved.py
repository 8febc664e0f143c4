"""How far confirmed pieces moved the shares of the survey's tests."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from proofpatch.phrases import in_100
from proofpatch.survey.evidence import TESTS, Reading, Survey
from proofpatch.survey.finishes import answers, finishes, words_of
from proofpatch.survey.identify import Identity, torn, weight
from proofpatch.survey.refit import Counts

LEAST = 0.005  # by which a share has to move to be told; common practice, no source
LIKELY = 0.01  # chance of a finish from which its shares are told; common practice, no source
MOST = 6  # that are told of one piece
BY_NAME = ("laboratory", "told")  # answered with a finish: what they say is no share of answers


@dataclass(frozen=True)
class Move:
    """One share: of the pieces of a finish, how many answer a test so. pieces: N confirmed, less where one counts less.
    before, after: the table's share, and with them."""

    finish: str
    test: str
    value: str
    pieces: float
    before: float
    after: float

    @property
    def said(self) -> str:
        """In a sentence."""
        what, before, after = words_of(self.finish), in_100(self.before), in_100(self.after)
        reading = f"{TESTS[self.test].title.lower()}: {self.value}"
        if self.pieces == 1.0:
            return f"1 confirmed piece of {what} moved this reading, {reading}, from {before} to {after}."
        return f"{self.pieces:.3g} confirmed pieces of {what} moved this reading, {reading}, from {before} to {after}."


def moves(seen: Counts) -> list[Move]:
    """Every share that was moved, the farthest moved first."""
    cells = dict.fromkeys((finish, test) for finish, test, _, _ in seen.rows)
    found = [_move(seen, finish, test, value) for finish, test in cells for value in TESTS[test].values]
    return _told(found)


def _told(found: Sequence[Move]) -> list[Move]:
    far = [one for one in found if abs(one.after - one.before) >= LEAST]
    return sorted(far, key=lambda one: -abs(one.after - one.before))


def moves_here(seen: Counts, survey: Survey, identity: Identity) -> list[Move]:
    """Those of the readings of one piece, for the finishes it may be, the farthest moved first."""
    likely = [key for key, p in identity.finishes.items() if p >= LIKELY and key in finishes()]
    read = list(dict.fromkeys((one.test, one.value) for one in survey.readings if one.test not in BY_NAME))
    found = [_move(seen, finish, *one) for finish in likely for one in read if seen.of(finish, one[0])]
    return _told(found)[:MOST]


def _move(seen: Counts, finish: str, test: str, value: str) -> Move:
    all_ = math.fsum(seen.of(finish, test).values())
    return Move(finish, test, value, all_, answers(finish, test, value), answers(finish, test, value, seen))


def rows_of(survey: Survey, finish: str, decided: str = "") -> list[tuple[str, str, str, float]]:
    """What one confirmed piece adds to the counts: each test once, less where its reading counts less.

    Args:
        finish: that it turned out to be.
        decided: the test by which that is known, which would else speak for itself.
    """
    if finish not in finishes():
        return []
    left_out = {decided, *torn(survey.readings), *BY_NAME}  # two answers at two places may be of two finishes
    by_test: dict[str, list[Reading]] = {}
    for one in survey.readings:
        if one.test not in left_out:
            by_test.setdefault(one.test, []).append(one)
    return [(finish, test, one.value, weight(survey, one) / TESTS[test].share / len(read))
            for test, read in by_test.items() for one in read]  # fmt: skip


def summed(pieces: Sequence[Sequence[tuple[str, str, str, float]]]) -> Counts:
    """The counts of several pieces."""
    found: dict[tuple[str, str, str], float] = {}
    for rows in pieces:
        for finish, test, value, share in rows:
            found[finish, test, value] = found.get((finish, test, value), 0.0) + share
    rows_ = tuple((*key, share) for key, share in sorted(found.items()))
    return Counts(rows_, sum(1 for rows in pieces if rows))
