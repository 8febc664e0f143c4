"""Pulses, lanes, films and faces of the dose map's tests."""

import numpy as np

from proofpatch.physics.dose_map import Film, Grid, Skin, default_pixel
from proofpatch.physics.setting import Setting
from proofpatch.physics.strokes import STEADY, Pulses, place_pulses

UM = 1e-6
MM = 1e-3
SETTING = Setting(500.0, 20e3, 100e-9, 0.45 * MM, 30 * MM, 10.0, 0.05)
ENERGY = SETTING.pulse_energy
OAK = Skin(0.5, 0.5, 60 * UM, 705 * 1630.0, 0.17, 2.5 * MM)  # as in the oak table of test_outcome.py
STEEL = Skin(0.4, 1.0, 0.0, 7854 * 434.0, 60.5)
FILM = Film(40 * UM, 8e3, 4 * UM, incubation=0.85, width_exponent=0.3, plume_fluence=5e4)


def pulses_at(x, y, radius=0.45 * MM, period=50e-6):
    x, y = np.broadcast_arrays(np.atleast_1d(np.asarray(x, float)), y)
    return Pulses(np.arange(x.size) * period, x, y, np.broadcast_to(radius, x.shape))


def scattered(count, side=6 * MM, seed=0, radius=0.45 * MM):
    """Pulses all over a square and beyond its edges, spots of changing size."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(-side, side, (2, count))
    return pulses_at(x, y, radius * rng.uniform(0.8, 1.3, count))


SQUARE = Grid.over(-4 * MM, 4 * MM, -3 * MM, 3 * MM, 0.07 * MM)


def lane(setting=SETTING, motion=STEADY, length=0.09, seed=0, pixel=None):
    """A lane of one stroke and its map."""
    pulses = place_pulses(setting, motion, length, rayleigh_range=12 * MM, seed=seed)
    half = setting.sweep_width / 2 + 2 * MM
    return pulses, Grid.over(-half, half, 0, length, pixel or default_pixel(setting.spot_radius))
