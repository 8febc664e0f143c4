"""The pulses one place gets under a swept line, and fewer of them for the clocks that do not see each.

A place under a moving line is hit in bursts: the pulses of one crossing, then, a line period later, the next
crossing, until the band has passed. `place_train` lists them for an even hand; `merged` replaces those long before
the moment asked about by steady heat of the same energy, as the slower clocks see them.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from proofpatch.errors import InputError
from proofpatch.physics.beam import fluence_at
from proofpatch.physics.heat_stack import _numbers, _positive
from proofpatch.physics.setting import Setting

Floats = NDArray[np.float64]
EDGE = 1e-3  # of the peak fluence; a pulse that gives less is left out
MOST = 200_000  # pulses at one place and pass; more are not listed one by one


def place_train(
    setting: Setting, top_hat_share: float, pulse_phase: float = 0.0, line_phase: float = 0.0
) -> tuple[Floats, Floats]:
    """When the pulses of one pass reach a place in the middle of the band, and with what fluence.

        x_ij = (i + φ) p − x_j,   y_j = (j + ψ) h,   t_ij = j W/v + (i + φ)/f,   F_ij = F(√(x² + y²))   (1)

    Lines are swept one way, W/v apart in time and h apart on the work; the hand is even.

    Args:
        setting: one pass of it.
        top_hat_share: m of the profile [1].
        pulse_phase, line_phase: φ and ψ, 0 to 1: how far the nearest pulse and line are from the place, in pitches.

    Returns:
        (starts (pulses,), rising, the first 0 [s], fluences (pulses,) [J/m²]).

    Raises:
        InputError: a phase is not a number, or so many pulses fall on one place that they cannot be listed.

    Pulses of less than a thousandth of the peak fluence are left out.
    Source: geometry; `beam.fluence_at`.
    """
    phases = _numbers("phase", [pulse_phase, line_phase])
    s, w = setting, setting.spot_radius
    energy = s.pulse_energy
    pitch, line = s.sweep_speed / s.repetition_rate, s.travel_speed * s.sweep_width / s.sweep_speed
    reach = w * math.sqrt(max(math.log((2.0 - top_hat_share) / EDGE) / 2.0, 1.0))
    along, across = math.ceil(reach / pitch) + 1, math.ceil(reach / line) + 1
    if (2 * along + 1) * (2 * across + 1) > MOST:
        raise InputError("repetition_rate", "Too many pulses fall on one place.", "Move the hand or the sweep faster.")
    i, j = np.arange(-along, along + 1), np.arange(-across, across + 1)
    x, y = (i + phases[0]) * pitch, (j + phases[1]) * line
    time = j[:, None] * s.sweep_width / s.sweep_speed + x[None, :] / s.sweep_speed  # (1)
    distance = np.hypot(y[:, None], x[None, :])
    fluence = np.asarray(fluence_at(distance, energy, w, top_hat_share))
    seen = fluence > EDGE * (2.0 - top_hat_share) * energy / (math.pi * w * w)
    order = np.argsort(time[seen], kind="stable")
    starts = time[seen][order]
    return starts - (starts[0] if starts.size else 0.0), fluence[seen][order]


def merged(
    starts: ArrayLike, widths: ArrayLike, fluences: ArrayLike, around: float, detail: float = 0.1
) -> tuple[Floats, Floats, Floats]:
    """The same heat in fewer pulses, as the face feels it at one moment and after.

    Pulses long before `around` are put together, as long as a group lasts at most `detail` times its age then: a
    group becomes one rectangle from its first beginning to its last end. Later ones stay as they are.

    Args:
        starts, widths: rising beginnings and lengths [s]; (pulses,).
        fluences: energy of each pulse by area [J/m²]; (pulses,).
        around: the moment of interest, usually of the highest temperature [s].
        detail: longest group over its age, above 0, below 1 [1].

    Returns:
        (starts [s], widths [s], fluences [J/m²]) of the groups.

    Raises:
        InputError: a list does not fit, or `detail` is out of its range.

    Error: heat put in at age a counts as a^(−1/2) at the face; spread within a group of length g it counts otherwise
    by at most (3/8)(g/2a)² of the group's own rise and, where its pulses are uneven, by (g/2a)/2 of their imbalance:
    0.1 % and 2.5 % at the usual detail. Rises before `around` lose the single pulses, so no lower peak there is seen.
    Source: Taylor remainder of a^(−1/2), derived.
    """
    t, tau, energy = (_numbers(n, v) for n, v in (("starts", starts), ("widths", widths), ("fluences", fluences)))
    if t.ndim != 1 or t.shape != energy.shape or tau.shape not in ((), t.shape):
        raise InputError("starts", "Beginnings, widths and fluences are not as many.", "Give one of each a pulse.")
    _positive("detail", detail)
    if detail >= 1:
        raise InputError("detail", "A group would be longer than its age.", "Give a share below 1, such as 0.1.")
    ends = t + tau
    groups: list[tuple[float, float, float]] = []
    k = 0
    while k < t.size:
        last = k
        while last + 1 < t.size and ends[last + 1] <= around - (ends[last + 1] - t[k]) / detail:
            last += 1
        groups.append((float(t[k]), float(ends[last] - t[k]), float(energy[k : last + 1].sum())))
        k = last + 1
    table = np.array(groups).reshape(-1, 3)
    return table[:, 0], table[:, 1], table[:, 2]
