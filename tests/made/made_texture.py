"""Bare substrates seen from above, in linear reflectance: procedural, numbers invented or from memory, unverified.

Two are real, photographed: the `brick.png` and `gravel.png` that scikit-image's wheel carries, both CC0 by its own
docstrings. They are grey, their colours are ours; the gravel is shrunk to stand for a rough stone or roughcast, and the
wall, at 2.5 mm a pixel, serves a `pair` of metres, not a patch.
No wheel here ships real wood, rusted steel or paper at the scale of a patch.
"""

import functools
import importlib.util
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from made_colour import colour, decode
from PIL import Image
from scipy import ndimage

MM = 1e-3


@dataclass(frozen=True)
class Ground:
    """A bare substrate.

    Args:
        linear: reflectance (H, W, 3), float32, linear sRGB primaries.
        pores: hollows that stay dark however clean the rest is (H, W); counted apart, never residue.
        joints: mortar between bricks (H, W), another clean material.
        scale: pixels of a metre.
    """

    linear: np.ndarray
    pores: np.ndarray
    joints: np.ndarray
    scale: float


def noise(shape, scale, length, rng):
    """A smooth random field of about unit spread, float32; `length` is its grain down and across [m]."""
    # White noise on a coarse grid, two points to a grain, smoothed so that the grid does not show, and drawn up.
    cells, start, soft = [], [], []
    for size, one in zip(shape, np.broadcast_to(length, 2), strict=True):
        soft.append(1.0 if one * scale > 2 else 0.0)
        cells.append(size / max(1.0, one * scale / 2))
        start.append(4 + float(rng.random()))
    grid = rng.standard_normal([int(np.ceil(count)) + 10 for count in cells], dtype=np.float32)
    grid = ndimage.gaussian_filter(grid, soft)
    box = (start[1], start[0], start[1] + cells[1], start[0] + cells[0])
    field = Image.fromarray(grid).resize(tuple(shape)[::-1], Image.Resampling.BICUBIC, box=box)
    # A gaussian of one point leaves 0.531 of white noise's spread, drawing up about 0.95 of that.
    return np.asarray(field) * np.float32(1.05 / 0.531 ** sum(soft))


def rough(shape, scale, length, rng, octaves=4):
    """Noise on noise, each half as coarse and 0.6 as strong; about unit spread."""
    length = np.broadcast_to(length, 2)
    total = sum(0.6**n * noise(shape, scale, length / 2**n, rng) for n in range(octaves))
    return total / np.float32(np.sqrt(sum(0.36**n for n in range(octaves))))


def ramp(value, low, high):
    """0 below `low`, 1 above `high`, smooth between."""
    share = np.clip((value - low) / (high - low), 0, 1)
    return share * share * (3 - 2 * share)


def mixed(share, one, other):
    """`one` where share is 0, `other` where it is 1."""
    share = share[..., None]
    return one * (1 - share) + other * share


@dataclass(frozen=True)
class Wood:
    """How a wood looks when it is sawn flat; lengths in mm, sRGB colours."""

    early: tuple
    late: tuple
    ring: float
    pore: tuple  # across, along
    crowded: float  # threshold of pores in early wood, in standard deviations
    sparse: float  # and in late wood
    pore_shade: float  # of the reflectance around
    figure: float  # spread of the slow shades


WOODS = {
    "oak": Wood((176, 140, 98), (196, 162, 117), 3.2, (0.17, 2.4), 1.0, 2.3, 0.42, 0.06),
    "pine": Wood((224, 193, 145), (196, 142, 86), 4.5, (0.2, 1.5), 9.0, 2.9, 0.6, 0.04),
    "mahogany": Wood((150, 88, 58), (138, 76, 50), 6.0, (0.13, 1.3), 1.75, 1.75, 0.45, 0.09),
}


def wood(kind, shape, scale, rng):
    """Grain along the rows."""
    kind = WOODS[kind]
    down = (np.arange(shape[0], dtype=np.float32) / scale)[:, None]
    wave = noise(shape, scale, (25 * MM, 90 * MM), rng) * np.float32(2.5 * MM)
    turn = (down + wave) / (kind.ring * MM) + 0.3 * noise(shape, scale, (6 * MM, 80 * MM), rng) + rng.random()
    phase = turn - np.floor(turn)
    # Late wood darkens slowly toward the ring's end and stops at once, as in a softwood; pores crowd where it begins.
    late = ramp(phase, 0.2, 0.85) * (1 - ramp(phase, 0.93, 1.0))
    linear = mixed(late, colour(*kind.early), colour(*kind.late))
    fibre = 0.05 * noise(shape, scale, (0.11 * MM, 7 * MM), rng) + 0.03 * noise(shape, scale, (0.05 * MM, 1 * MM), rng)
    figure = kind.figure * rough(shape, scale, (3 * MM, 60 * MM), rng)
    linear = linear * np.exp(fibre + figure)[..., None]
    vessel = noise(shape, scale, (kind.pore[0] * MM, kind.pore[1] * MM), rng)
    crowd = (1 - ramp(phase, 0.25, 0.45)) * ramp(phase, 0.0, 0.06)
    above = vessel - (kind.sparse + (kind.crowded - kind.sparse) * crowd)
    linear = linear * (1 - (1 - kind.pore_shade) * ramp(above, -0.25, 0.25))[..., None]
    return linear, above > 0


def steel(shape, scale, rng):
    """Brushed along the rows, with pits that hold rust."""
    brushed = 0.09 * noise(shape, scale, (0.04 * MM, 25 * MM), rng) + 0.06 * noise(
        shape, scale, (0.15 * MM, 60 * MM), rng
    )
    linear = colour(150, 150, 152) * np.exp(brushed + 0.06 * rough(shape, scale, 20 * MM, rng))[..., None]
    field = rough(shape, scale, 0.5 * MM, rng) + 0.5 * noise(shape, scale, 9 * MM, rng)
    pit = ramp(field, 2.0, 2.5)
    return mixed(
        pit, linear, colour(92, 58, 40) * np.exp(0.2 * noise(shape, scale, 0.2 * MM, rng))[..., None]
    ), pit > 0.5


def aluminium(shape, scale, rng):
    brushed = 0.06 * noise(shape, scale, (0.05 * MM, 30 * MM), rng) + 0.05 * rough(shape, scale, 25 * MM, rng)
    linear = colour(188, 190, 193) * np.exp(brushed)[..., None]
    return linear, np.zeros(shape, dtype=bool)


def brick(shape, scale, rng):
    """Fired brick of 215 by 65 mm with joints of 10 mm; common sizes, from memory, unverified."""
    down, across = (np.arange(n, dtype=np.float32) / scale + rng.random() * 0.2 for n in shape)
    edge = 1.0 * MM * rough(shape, scale, 6 * MM, rng)
    course = np.floor(down / 0.075)
    into = np.minimum(down % 0.075, 0.075 - down % 0.075)[:, None] - 5 * MM + edge
    shifted = across[None] + 0.1125 * (course % 2)[:, None]
    along = np.minimum(shifted % 0.225, 0.225 - shifted % 0.225) - 5 * MM + edge
    mortar = 1 - ramp(np.minimum(into, along), -0.3 * MM, 0.3 * MM)
    tone = 0.13 * rough(shape, scale, 12 * MM, rng) + 0.1 * rough(shape, scale, 0.8 * MM, rng)
    fired = mixed(ramp(rough(shape, scale, 5 * MM, rng), -1.5, 2.5), colour(164, 86, 62), colour(140, 66, 52))
    grit = ramp(noise(shape, scale, 0.5 * MM, rng), 1.9, 2.2)
    fired = mixed(0.6 * grit, fired * np.exp(tone)[..., None], colour(196, 150, 120))
    hollow = ramp(rough(shape, scale, 1.1 * MM, rng), 1.75, 2.1)
    lime = colour(196, 186, 168) * np.exp(0.12 * rough(shape, scale, 0.7 * MM, rng))[..., None]
    linear = mixed(mortar, fired, lime) * (1 - 0.7 * hollow)[..., None]
    return linear, hollow > 0.5, mortar > 0.5


def limestone(shape, scale, rng):
    tone = 0.05 * rough(shape, scale, 15 * MM, rng) + 0.05 * rough(shape, scale, 0.5 * MM, rng)
    shell = ramp(noise(shape, scale, (0.7 * MM, 1.6 * MM), rng), 1.7, 2.0)
    linear = mixed(0.45 * shell, colour(213, 200, 172) * np.exp(tone)[..., None], colour(232, 226, 208))
    hollow = ramp(rough(shape, scale, 0.6 * MM, rng), 2.2, 2.6)
    return linear * (1 - 0.55 * hollow)[..., None], hollow > 0.5


def paper(shape, scale, rng):
    fibre = 0.012 * noise(shape, scale, (0.06 * MM, 0.5 * MM), rng) + 0.012 * noise(
        shape, scale, (0.5 * MM, 0.06 * MM), rng
    )
    return colour(238, 234, 222) * np.exp(fibre + 0.012 * rough(shape, scale, 8 * MM, rng))[..., None], np.zeros(
        shape, bool
    )


@dataclass(frozen=True)
class Real:
    """A photograph of a substrate, grey.

    Args:
        file: among scikit-image's data.
        scale: its pixels of a metre; of the wall by its courses of 75 mm, of the gravel as we shrink it.
        dark, light: colours of its darker and lighter stuff; `between` the greys where one gives way to the other.
        hollow: grey below which it is a gap, counted with the pores.
    """

    file: str
    scale: float
    dark: tuple
    light: tuple
    between: tuple
    hollow: float


REAL = {
    "real wall": Real("brick.png", 400.0, (150, 78, 58), (198, 188, 170), (0.16, 0.30), 0.03),
    "real gravel": Real("gravel.png", 8000.0, (168, 158, 142), (196, 190, 180), (0.25, 0.5), 0.055),
}


def real(kind, shape, scale, rng):
    """A part of the photograph, mirrored at its ends where more is asked for."""
    kind = REAL[kind]
    folder = Path(importlib.util.find_spec("skimage").origin).parent / "data"
    grey = decode(np.asarray(Image.open(folder / kind.file).convert("L")) / 255).astype(np.float32)
    at = []
    for n, whole in zip(shape, grey.shape, strict=True):
        span = n * kind.scale / scale
        start = rng.uniform(0, max(whole - span, 1.0))
        at.append(start + (np.arange(n) + 0.5) * kind.scale / scale - 0.5)
    grid = np.stack(np.meshgrid(*at, indexing="ij"))
    grey = ndimage.map_coordinates(grey, grid, order=1, mode="reflect", output=np.float32)
    share = ramp(grey, *kind.between)
    level = np.quantile(grey[share < 0.5], 0.5), np.quantile(grey[share > 0.5], 0.5) if (share > 0.5).any() else 1.0
    linear = mixed(
        share, colour(*kind.dark) * (grey / level[0])[..., None], colour(*kind.light) * (grey / level[1])[..., None]
    )
    return linear, grey < kind.hollow, (share > 0.5) & (kind.file == "brick.png")


MAKERS = {"steel": steel, "aluminium": aluminium, "brick": brick, "limestone": limestone, "paper": paper}
MAKERS |= {one: functools.partial(real, one) for one in REAL}
SUBSTRATES = (*WOODS, *MAKERS)


def ground(substrate, shape, scale, rng, upright=False):
    """A bare substrate of `shape` pixels.

    Args:
        substrate: one of SUBSTRATES.
        scale: pixels of a metre.
        upright: grain or brushing down the columns instead of along the rows.
    """
    shape = tuple(shape)[::-1] if upright else tuple(shape)
    made = wood(substrate, shape, scale, rng) if substrate in WOODS else MAKERS[substrate](shape, scale, rng)
    linear, pores, joints = made if len(made) == 3 else (*made, np.zeros(shape, dtype=bool))
    parts = [np.clip(linear, 0.01, 0.95).astype(np.float32), pores, joints]
    if upright:
        parts = [np.ascontiguousarray(np.swapaxes(part, 0, 1)) for part in parts]
    return Ground(*parts, scale)
