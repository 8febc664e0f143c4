"""A photo of a strip in its own printed sheet, from the sheet's PDF; for tests of the faces."""

import subprocess

import numpy as np
from made_camera import Camera, Light, photograph
from made_patch import Step
from made_scene import BARE, scene
from made_view import Pose
from PIL import Image

from proofpatch.photos.find import find

SIZE = (3200, 2400)  # px


def photo_of(pdf, left, rng, substrate="steel", coating="grease", size=SIZE):
    """(JPEG, corners of the sheet in it as shares of its width and height (4, 2)).

    Args:
        pdf: path of the sheet. left: share of coating left on each step, by its number as text.
    """
    wanted = ["pdftoppm", "-r", "200", "-gray", "-singlefile", "-f", "1", "-l", "1"]
    subprocess.run([*wanted, pdf, pdf.with_suffix("")], check=True)
    face = np.asarray(Image.open(pdf.with_suffix(".pgm")))
    frame = find(np.dstack([face] * 3)).frame
    boxes = {str(one.step): one.box for one in frame.windows} | {"bare": frame.bare, "untouched": frame.untouched}
    steps = {name: Step(share, margin=0.0) for name, share in left.items()} | {"bare": BARE}
    piece = scene(face, (frame.width, frame.height), boxes, steps, rng, substrate, coating)
    shot = photograph(piece, Pose(0.34, tilt=14, toward=70, roll=4), Light(0.25), Camera(size), rng)
    return shot.jpeg, shot.view.pixels(frame.outline) / size
