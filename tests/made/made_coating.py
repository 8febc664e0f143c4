"""Coatings laid on a bare substrate: films that colour what shines through and hide the rest. All numbers invented.

    R = R_substrate T^t exp(-k t) + R_film (1 - exp(-k t))                        (1)

with t the film's thickness, 1 where it is whole; a coarse stand-in for two-flux theory, enough for pictures.
"""

from dataclasses import dataclass

import numpy as np
from made_colour import colour
from made_texture import MM, noise, ramp, rough


@dataclass(frozen=True)
class Coating:
    """What a film does to light.

    Args:
        body: sRGB of the film where nothing shines through.
        passed: T, share of red, green and blue that comes back through a whole film.
        hiding: k.
        uneven: spread of the thickness where it is whole.
        brush: grain of that unevenness, down and across [mm].
        mottle: spread of the body's shade.
        other: a second body colour that the first is mottled with, or none.
        cracks: share of its thickness that cracks take away.
    """

    body: tuple
    passed: tuple
    hiding: float
    uneven: float
    brush: tuple
    mottle: float = 0.03
    other: tuple | None = None
    cracks: float = 0.0


COATINGS = {
    "varnish": Coating((92, 56, 26), (0.62, 0.40, 0.17), 0.35, 0.16, (1.5, 30), cracks=0.25),
    "shellac": Coating((120, 66, 24), (0.74, 0.45, 0.20), 0.15, 0.18, (3, 25)),
    "latex white": Coating((233, 232, 226), (0.9, 0.9, 0.88), 4.5, 0.12, (0.8, 18), 0.02),
    "latex pale": Coating((206, 214, 190), (0.9, 0.9, 0.85), 4.2, 0.12, (0.8, 18), 0.02),
    "alkyd red-brown": Coating((116, 44, 32), (0.8, 0.6, 0.5), 5.0, 0.15, (0.9, 30), 0.05),
    "alkyd blue-green": Coating((46, 98, 96), (0.6, 0.8, 0.75), 5.0, 0.15, (0.9, 30), 0.05),
    "alkyd black": Coating((34, 33, 34), (0.4, 0.4, 0.4), 6.0, 0.15, (0.9, 30), 0.08),
    "rust": Coating((150, 82, 42), (0.6, 0.45, 0.3), 4.0, 0.35, (1.5, 1.5), 0.16, (88, 48, 34)),
    "soot": Coating((26, 25, 25), (0.35, 0.34, 0.33), 2.6, 0.3, (12, 12), 0.12),
    "grease": Coating((58, 46, 30), (0.50, 0.40, 0.24), 0.8, 0.4, (7, 7), 0.06),
}
# What is found on what, for a contact sheet.
USUAL = {
    "oak": ("varnish", "shellac", "latex white", "alkyd red-brown", "soot"),
    "pine": ("varnish", "latex pale", "alkyd blue-green", "alkyd black"),
    "mahogany": ("varnish", "shellac", "latex white", "grease"),
    "steel": ("rust", "alkyd red-brown", "alkyd black", "grease"),
    "aluminium": ("latex white", "alkyd blue-green", "soot", "grease"),
    "brick": ("latex white", "alkyd red-brown", "soot"),
    "limestone": ("soot", "latex pale", "alkyd black"),
    "paper": ("soot", "grease"),
    "real wall": ("soot", "latex white"),
    "real gravel": ("soot", "latex pale"),
}


def film(coating, shape, scale, rng, upright=False):
    """The untouched film: thickness (H, W) of about 1 and body reflectance (H, W, 3)."""
    kind = COATINGS[coating]
    down, across = kind.brush[::-1] if upright else kind.brush
    uneven = 0.8 * rough(shape, scale, (down * MM, across * MM), rng, 3) + 0.6 * rough(shape, scale, 18 * MM, rng, 2)
    thickness = np.exp(kind.uneven * uneven - kind.uneven**2 / 2)
    if kind.cracks:
        # Cracks lie where a smooth field passes through nought.
        line = np.abs(rough(shape, scale, 5 * MM, rng, 2))
        thickness = thickness * (1 - kind.cracks * (1 - ramp(line, 0.01, 0.05)))
    body = colour(*kind.body) * np.ones((*shape, 1), dtype=np.float32)
    if kind.other:
        share = ramp(rough(shape, scale, 3 * MM, rng), -0.6, 1.6)[..., None]
        body = body * (1 - share) + colour(*kind.other) * share
    shade = kind.mottle * (
        0.8 * rough(shape, scale, (0.4 * down * MM, 0.4 * across * MM), rng) + 0.6 * noise(shape, scale, 15 * MM, rng)
    )
    return thickness.astype(np.float32), (body * np.exp(shade)[..., None]).astype(np.float32)


def coated(linear, body, thickness, coating):
    """Reflectance of a substrate under a film, (1)."""
    kind = COATINGS[coating]
    t = thickness[..., None]
    through = np.exp(-kind.hiding * t)
    return linear * np.array(kind.passed, dtype=np.float32) ** t * through + body * (1 - through)
