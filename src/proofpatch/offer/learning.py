"""Wright's law: the average piece of a batch takes less hand work the larger the batch."""

from __future__ import annotations

from typing import Any

import numpy as np

from proofpatch.physics.setting import finite_number

LEAST_RATE = 0.5  # below that the whole batch would take less than its first piece


def batch_factor(pieces: int, rate: Any) -> Any:
    """Work of a batch over that of its first piece.

        x(n) = n · n^b,   b = log₂ r                                             (1)

    Args:
        pieces: n, ≥ 1. rate: r, the average piece's work for twice as many over that for n, 0.5 to 1 [1]; any shape.

    Raises:
        InputError: no such number of pieces.

    n^b is the average over the batch (Wright's form), not the work of its last piece (Crawford's).
    Source: Wright, J. Aeronaut. Sci. 3 (1936) 122; form read in Wideman, Learning curve mathematics (web).
    """
    n = finite_number("pieces", "The number of pieces", pieces, 1, 10_000, "")
    b = np.log2(np.clip(rate, LEAST_RATE, 1.0))
    return n * n**b  # (1)
