"""A photographed strip with the truth of each step: the printed sheet on a piece, each patch harmed or not, a photo.

For tests and benchmarks. It shares no code and no constants with what grades it; CIEDE2000 is scikit-image's.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from made_camera import BIG, Camera, Light, Photo, photograph
from made_coating import USUAL
from made_colour import lab
from made_patch import Box, Step, surface, treated
from made_scene import AROUND, BARE, Scene, around, cut_shadow, printed, sheet_layer
from made_sheet import printed as printed_sheet
from made_texture import MM
from made_view import Pose
from scipy import ndimage
from skimage.color import deltaE_ciede2000

GRADES = ("none", "tint", "marked", "burnt")
EDGES = (1.0, 2.0, 5.0)  # CIEDE2000, as docs/photos-grading.md defines harm; common practice, no source
PLACE, LEAST, SHARE = 0.35 * MM, 0.4 * MM**2, 0.001  # over which, and from how much of the open ground, harm is judged
# A rim along the window's own side, which `edges` makes, would be film that lies where nothing was swept.
LIES = ("islands", "lines", "grain")
EDGE = 0.5 * MM  # of a window, in its own shadow, not judged


@dataclass(frozen=True)
class Truth:
    """One step. left: share of the open surface of the patch; harm: of what lies open, None: too little does;
    burnt, pores: shares; ring: whether untouched film shows along the window's sides; tone: L*, b* lost and gained."""

    left: float
    harm: str | None
    burnt: float
    pores: float
    ring: bool
    tone: float
    darkening: float
    made: Step


def some_steps(count, rng, ring=0.15):
    """Steps from untouched to clean, about half of them harmed, as a strip may be; `ring` is how often one is small."""
    shares = [1.0, rng.uniform(0.9, 0.99), rng.uniform(0.4, 0.9), rng.uniform(0.1, 0.4), rng.uniform(0.03, 0.1),
              rng.uniform(0.01, 0.03), rng.uniform(0.0, 0.01), 0.0]  # fmt: skip
    made = []
    for n in range(count):
        step = Step(shares[n % len(shares)], lie=str(rng.choice(LIES)), margin=0.0)
        if step.left < 1 and rng.random() < ring:
            step = replace(step, margin=rng.uniform(3, 6) * MM)
        tint = float(rng.uniform(2, 8))
        kind = rng.choice(["none", "tint", "hot", "burnt"], p=[0.5, 0.2, 0.15, 0.15]) if step.left < 1 else "none"
        harmed = {
            "none": {}, "tint": {"darkening": tint, "yellowing": tint / 2}, "hot": {"hot": rng.uniform(0.4, 0.9)},
            "burnt": {"burnt": int(rng.integers(1, 5))},
        }[kind]  # fmt: skip
        made.append(replace(step, **harmed))
    return made


def harm(patch, harmed, unharmed, inside):
    """(worst grade over enough of the open ground, share of it burnt). harmed, unharmed: the same without any film."""
    open_ = (patch.area & ~patch.pores & ~patch.left)[inside]
    if open_.sum() < max(100, 0.01 * open_.size):
        return None, 0.0
    sigma = PLACE * patch.scale
    off = deltaE_ciede2000(*(
        lab(ndimage.gaussian_filter(one.linear[inside], (sigma, sigma, 0)).astype(np.float64))
        for one in (unharmed, harmed)
    ))  # fmt: skip
    off[~open_] = 0
    least = max(SHARE * open_.sum(), LEAST * patch.scale**2)
    worst = max((n for n in (1, 2, 3) if (off >= EDGES[n - 1]).sum() > least), default=0)
    return GRADES[worst], float((off >= EDGES[-1]).sum() / open_.sum())


def strip(raster, size, windows, references, steps, rng, substrate, coating, lamp=225.0):
    """(Scene, Truth of each step).

    Args:
        raster: of the printed page, uint8. size: of the page [m]. windows: boxes of the steps; references: of the
            untouched and the bare place, each None or a box. steps: Step of each window, None is untouched.
    """
    scale = raster.shape[1] / size[0]
    sheet = printed(raster, rng, scale)
    todo = [(box, step, True) for box, step in zip(windows, steps, strict=True)]
    todo += [(box, step, False) for box, step in zip(references, (None, BARE), strict=True) if box is not None]
    truths, patches, boxes = [], {}, {}
    for n, (box, step, told) in enumerate(todo):
        rows, columns = Box(box.left, box.top, box.width, box.height).pixels(scale)
        shape = (rows.stop - rows.start, columns.stop - columns.start)
        whole, own = surface(substrate, coating, shape, scale, rng), int(rng.integers(2**31))
        patch = treated(whole, step, np.random.default_rng(own))
        sheet[rows, columns] = patch.linear * cut_shadow(shape, scale, lamp)[..., None]
        patches[str(n)], boxes[str(n)] = patch, box
        if told:
            truths.append(_truth(patch, whole, step, own))
    behind = around(substrate, coating, size, rng, margin=AROUND)
    return Scene(tuple(size), sheet_layer(sheet, scale), behind, patches, boxes), truths


def _truth(patch, whole, step, own):
    edge = round(EDGE * patch.scale)
    inside = np.s_[edge:-edge, edge:-edge]
    step = step or Step(1.0, margin=0.0)
    harmless = replace(step, darkening=0.0, yellowing=0.0, hot=0.0, burnt=0)
    if harmless == step:
        open_ = (patch.area & ~patch.pores & ~patch.left)[inside]
        worst, burnt = ("none" if open_.sum() >= max(100, 0.01 * open_.size) else None), 0.0
    else:
        # Scorch and spots are drawn before the film: they fall alike where none is left.
        bare = [treated(whole, replace(one, left=0.0), np.random.default_rng(own)) for one in (step, harmless)]
        worst, burnt = harm(patch, *bare, inside)
    clean, tinted = lab(np.array([patch.clean, patch.tinted]))
    left = patch.fraction_in(*inside) if patch.area[inside].any() else 1.0
    return Truth(
        left, worst, burnt, float(patch.pores[inside].mean()), step.margin > 0,
        float(deltaE_ciede2000(clean, tinted)), float(clean[0] - tinted[0]), step,
    )  # fmt: skip


def strip_photo(frame, raster, rng, substrate, coating, tilt=0.0, size=BIG, steps=None) -> tuple[Photo, list[Truth]]:
    """A photo of a strip and what is true of its steps. frame: as the sheet's, with windows, untouched and bare."""
    steps = some_steps(len(frame.windows), rng) if steps is None else steps
    laid, truths = strip(
        raster, (frame.width, frame.height), [one.box for one in frame.windows], (frame.untouched, frame.bare), steps,
        rng, substrate, coating,
    )  # fmt: skip
    # The sheet's long side lies along the picture's, and it fills about four fifths of it.
    distance = 0.75 * 1.25 * max(frame.height, 0.75**-1 * frame.width)
    pose = Pose(distance, tilt, float(rng.uniform(0, 360)), 90.0 + float(rng.uniform(-4, 4)))
    light = Light(float(rng.uniform(0, 0.3)), float(rng.uniform(0, 360)))
    return photograph(laid, pose, light, Camera(size), rng), truths


SHEETS = ((6, "us-letter", 0.08), (12, "a4", 0.1), (4, "a4", 0.04))


@lru_cache(maxsize=len(SHEETS))
def _laid(number):
    """(frame, Scene) of one of SHEETS on a piece of its own."""
    frame, raster = printed_sheet(*SHEETS[number])
    rng = np.random.default_rng(number)
    pairs = [(substrate, coating) for substrate, coatings in USUAL.items() for coating in coatings]
    windows, references = [one.box for one in frame.windows], (frame.untouched, frame.bare)
    steps = some_steps(len(windows), rng)
    size = frame.width, frame.height
    return frame, strip(raster, size, windows, references, steps, rng, *pairs[rng.integers(len(pairs))])[0]


def made(how, rng):
    """A photo for benchmarks/photos.py: (content, frame, from pixels counted from the first one's corner to metres)."""
    frame, laid = _laid(int(rng.integers(len(SHEETS))))
    size = how.long_side, round(how.long_side * 0.75)
    focal, distance = 0.75 * size[0], 0.75 * frame.height / rng.uniform(0.78, 0.86)
    away, way = how.cut * frame.height, rng.choice([-1, 1])
    pose = Pose(
        distance, how.tilt, float(rng.uniform(0, 360)), 90.0 + float(rng.uniform(-8, 8)),
        (frame.width / 2, frame.height / 2 + way * away) if how.cut else None,
    )  # fmt: skip
    blur = max(0.5, how.blur * focal / distance)
    well = 0.25 * (255 / max(how.noise, 0.1)) ** 2  # the noise of mid grey, in codes, of so many electrons
    camera = Camera(size, defocus=blur, quality=how.quality, full_well=well)
    photo = photograph(laid, pose, Light(how.gradient, float(rng.uniform(0, 360))), camera, rng)
    return photo.jpeg, frame, lambda pixels: photo.view.sheet(np.asarray(pixels) - 0.5)
