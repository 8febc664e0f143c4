"""Burn marks as a beam of known radius and threshold would leave them."""

import math

import numpy as np

from proofpatch.physics.beam import threshold_radius

SPOT, THRESHOLD = 0.45e-3, 1e-3  # 0.9 mm across, 1 mJ


def marks_of(share, count, span=16.0):
    """(energies from 1.3 times the threshold on, exact diameters, threshold fluence)."""
    energies = 1.3 * THRESHOLD * np.geomspace(1, span, count)
    fluence = (2 - share) * THRESHOLD / (math.pi * SPOT**2)
    return energies, 2 * threshold_radius(fluence, energies, SPOT, share), fluence
