"""Simulated pieces of known values, and one tile of them laid."""

import functools
import math

import numpy as np
import simulator
import simulator_tile as tiles
import simulator_truth as truths

import proofpatch as pp
from proofpatch.physics.strokes import STEADY

LASER = pp.laser("pulsed-500")
SETTING = pp.Setting(500.0, 20e3, 200e-9, 0.45e-3, 0.1, 10.0, 0.05)
MEAN = 25e-3 / (math.pi * 0.45e-3**2)  # J/m², of a pulse of SETTING
BARE = {"thickness": 1e-12}
OAK = {
    "absorptance": 0.5, "skin_share": 0.5, "skin_depth": 60e-6, "diffuse_depth": 2.5e-3, "thickness": 0.018,
    "heat_capacity": 705.0 * 1630.0, "conductivity": 0.18, "ln_frequency": 22.2, "activation": 141.2e3,
}  # fmt: skip


@functools.cache
def drawn(coating, substrate, seed=0):
    surface = pp.Surface([pp.Layer(coating, condition="aged")], substrate, condition="aged")
    return simulator.draw_truth(surface, LASER, np.random.default_rng(seed))


def piece(coating="oil-varnish", substrate="oak", film=None, ground=None, **rest):
    """A truth without unevenness, under a guided head, with some values set for certain."""
    certain = {"hand": STEADY, "power": 1.0, "top_hat_share": 1.0, "grader": truths.GraderTruth(0.0, 0.0, 0.0, 0.0)}
    return drawn(coating, substrate).with_(
        {"spread": 0.0, "bond_spread": 0.0} | (film or {}), {"streaks": 0.0, "warming": ()} | (ground or {}),
        **(certain | rest),
    )  # fmt: skip


def rng(seed=1):
    return np.random.default_rng(seed)


def laid(truth, setting=SETTING, kind="middle", slowness=(0.0,)):
    tile = tiles.make_tile(truth, setting, kind, 1.0, rng())
    tiles.lay(tile, truth, setting, truth.hand, np.array(slowness), rng(2))
    return tile
