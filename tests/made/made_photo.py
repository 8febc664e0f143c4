"""Made photos: a plain file for the pages, and graded patches as a phone would see them, with their truth.

For tests and benchmarks only. It shares no code and no constants with `proofpatch.photos`, and does without its
libraries: what grades must not be judged by what it is made of. Films and all substrates but two are procedural,
their numbers invented or from memory, unverified. Lengths in metres, angles in degrees, reflectance linear in the
sRGB primaries.

A frame with a patch in each window, photographed:

    rng = np.random.default_rng(1)
    boxes = {"1": Box(0.03, 0.04, 0.025, 0.025), "2": ..., "bare": ...}       # left, top, width, height on the sheet
    steps = {"1": Step(0.3, "grain", darkening=3), "2": Step(0.05, hot=0.4), "bare": BARE}   # left out: untouched film
    laid = scene(raster, (0.210, 0.297), boxes, steps, rng, "oak", "varnish")  # raster: uint8, a page at 300 dpi
    photo = photograph(laid, Pose(0.3, tilt=30, toward=60, roll=5), Light(0.4, cast=WARM), Camera(SMALL), rng)
    photo.jpeg                                    # bytes, EXIF orientation as the Camera says
    photo.view.pixels([(0.03, 0.04)])             # where a point of the sheet is in the upright picture; and .sheet(px)
    truth = laid.patches["1"]                     # Patch: .fraction .area .open .left .pores .joints .hot .burnt
    truth.darkening, truth.yellowing              # of the substrate, L* and b*; .clean .tinted .whole reflectances
    truth.fraction_in(rows, columns)              # of a part of the window, slices at truth.scale pixels of a metre

A scene may be photographed again and again. `stand_in` and `row` give a raster and windows where no frame is at hand.
One patch without a photo: `treated(surface("steel", "rust", (300, 300), 12000, rng), Step(0.2), rng)`.

The same place before and after:

    two = pair((0.2, 0.15), rng, "oak", "latex white", Step(0.02), area=0.4)   # bare piece on a bench
    two = pair((0.2, 0.15), rng, frame=(raster, (0.19, 0.14), box), shift=(0.002, 0.001, 1.5))   # through a window
    two.before.jpeg, two.after.jpeg, two.cleaned, two.bared, two.patch.area, two.pixels(0, points_on_the_piece)

A print out of scale is a `size` and boxes other than the page's own. `scene(..., bulge=0.003)` is paper that does not
lie flat. Not made: a lens that colours its edges, the phone's own noise filter, gloss that follows the grain.
"""

import io

import numpy as np
from made_camera import BIG, COOL, SMALL, WARM, Camera, Light, Photo, photograph
from made_coating import COATINGS, USUAL
from made_pair import Pair, pair
from made_patch import LIES, Box, Patch, Step, surface, treated
from made_scene import BARE, Scene, row, scene, stand_in
from made_texture import SUBSTRATES, ground
from made_view import Pose, View
from PIL import Image

__all__ = [
    "BARE", "BIG", "COATINGS", "COOL", "LIES", "SMALL", "SUBSTRATES", "USUAL", "WARM", "Box", "Camera", "Light", "Pair",
    "Patch", "Photo", "Pose", "Scene", "Step", "View", "ground", "pair", "photograph", "row", "scene", "shot",
    "stand_in", "surface", "treated",
]  # fmt: skip

GPS, ORIENTATION, MAKER = 0x8825, 0x0112, 0x010F


def shot(size=(60, 40), orientation=1, kind="JPEG", mode="RGB"):
    """A file as a phone writes it: red at the left, white else, with place and maker."""
    width, height = size
    face = np.full((height, width, 3), 255, dtype=np.uint8)
    face[:, : width // 3] = (220, 0, 0)
    exif = Image.Exif()
    exif[ORIENTATION], exif[MAKER] = orientation, "Invented"
    exif.get_ifd(GPS)[1], exif.get_ifd(GPS)[2] = "N", (12.0, 34.0, 56.0)
    out = io.BytesIO()
    Image.fromarray(face).convert(mode).save(out, kind, exif=exif)
    return out.getvalue()
