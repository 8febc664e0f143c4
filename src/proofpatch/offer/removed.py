"""What comes off: the mass of the coating, for filters and waste."""

from __future__ import annotations

import numpy as np

from proofpatch.learn.belief import Belief
from proofpatch.materials import coating_data, coating_mixture
from proofpatch.offer.rates import SAMPLES, Floats
from proofpatch.physics.rows import THICKNESS


def removed_mass(belief: Belief, area: float, captured: float = 1.0) -> Floats:
    """Mass taken off and caught, sampled from the belief [kg].

        m = c A Σ_layers t ρ                                                     (1)

    Args:
        belief: its draws of the thickness t of each layer. area: A, of the whole job, without effort [m²].
        captured: c, share caught at the spot [1]; all of it where the filter's life is asked on the careful side.
    """
    rng = np.random.default_rng([belief.seed, 5])
    drawn = rng.choice(belief.draws, SAMPLES, p=belief.weight)
    density = np.array([_density(dict(coat.shares)) for coat in belief.surface.coats])
    return np.asarray(captured * area * (belief.layer[drawn, :, THICKNESS] @ density))  # (1)


def _density(shares: dict[str, float]) -> float:
    """Mean over what a coat may be [kg/m³]."""
    return sum(
        share * part * coating_data(key, colour, condition)["density"].value
        for key, share in shares.items()
        for part, colour, condition in coating_mixture(key)
    )
