"""A photo as a phone writes it."""

import io

import numpy as np
from PIL import Image

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
