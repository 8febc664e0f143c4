"""Settings and hands as the rows of numbers the kernels take."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from proofpatch.lasers import Laser
from proofpatch.learn.limits import Hand
from proofpatch.physics.setting import Setting
from proofpatch.physics.sweep import edge_dose_factor, middle_dose_factor

Floats = NDArray[np.float64]
# ±25 % covers 95 % of the surface.
SPREADS_95 = 1.959963984540054
WORST_AREA = 3.090232306167813  # normal quantile of 0.1 %: harm on a finished surface
WORST_PATCH = 2.0  # a patch is small: its worst place is about two spreads out; from memory, unverified
PATCH_HAND = 0.5  # a timed stroke varies about half as much as a day's work; from memory, unverified


@lru_cache(maxsize=1024)
def _edge(width: float, diameter: float, pattern: str) -> float:
    """`edge_dose_factor`; most settings share one sweep."""
    return float(edge_dose_factor(width, diameter, pattern))


def setting_row(setting: Setting, laser: Laser) -> list[float]:
    """One row of physics.outcome.SETTING: the power that arrives, and the Rayleigh range πw²/(M²λ) of this spot."""
    diameter = min(2 * setting.spot_radius, setting.sweep_width)
    edge = _edge(setting.sweep_width, diameter, setting.pattern)
    middle = middle_dose_factor(setting.pattern)
    rayleigh = math.pi * setting.spot_radius**2 / (laser.m2 * laser.wavelength)
    return [
        setting.average_power * laser.power_factor, setting.repetition_rate, setting.pulse_width, setting.spot_radius,
        setting.sweep_width, setting.sweep_speed, setting.travel_speed, float(setting.passes), laser.top_hat_share,
        rayleigh,
        max(edge, middle), min(edge, middle, 1.0),  # the hottest and the thinnest place along the line
    ]  # fmt: skip


def setting_rows(settings: Sequence[Setting], laser: Laser) -> Floats:
    """(settings, len(SETTING))."""
    return np.array([setting_row(s, laser) for s in settings]).reshape(len(settings), 12)


def hand_row(hand: Hand, patch: bool = False) -> Floats:
    """One row of physics.outcome.HAND, for the finished surface or for a small timed patch."""
    spread = math.log1p(hand.speed_spread) / SPREADS_95
    if patch:
        return np.array([spread * PATCH_HAND, hand.stand_off_spread * PATCH_HAND, 0.0, WORST_PATCH])
    return np.array([spread, hand.stand_off_spread, hand.stop_seconds, WORST_AREA])
