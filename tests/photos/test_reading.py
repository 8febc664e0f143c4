"""A photo's file: read upright and in sRGB, or refused in one clear sentence."""

import io
import struct

import numpy as np
import pytest
from made_bomb import png
from made_photo import shot
from PIL import Image, ImageCms

from proofpatch import InputError
from proofpatch.photos import reading
from proofpatch.photos.reading import MOST_PIXELS, read


def file_of(face, kind, **more):
    out = io.BytesIO()
    Image.fromarray(face).save(out, kind, **more)
    return out.getvalue()


FACE = np.random.default_rng(0).integers(0, 255, (40, 60, 3), dtype=np.uint8)


def moving(kind):
    frames = [Image.fromarray(np.full((20, 20, 3), n * 60, dtype=np.uint8)) for n in range(3)]
    out = io.BytesIO()
    frames[0].save(out, kind, save_all=True, append_images=frames[1:])
    return out.getvalue()


WRONG = {
    "nothing": (b"", "is empty"),
    "a page": (b"<html><body>photo.jpg</body></html>", "no photo that can be read"),
    "a drawing": (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no photo that can be read"),
    "a PDF": (b"%PDF-1.7 and more", "no photo that can be read"),
    "an archive that begins as a JPEG": (b"\xff\xd8\xff\xe0" + b"PK\x03\x04" * 50, "no photo that can be read"),
    "a JPEG cut short": (file_of(FACE, "JPEG")[:-400], "breaks off"),
    "a PNG cut short": (file_of(FACE, "PNG")[:-2000], "breaks off"),
    "a PNG with a broken part": (file_of(FACE, "PNG").replace(b"IDAT", b"IDAX"), "breaks off|no photo"),
    "a moving PNG": (moving("PNG"), "several in one file"),
    "a moving GIF": (moving("GIF"), "neither JPEG nor PNG"),
    "a moving WebP": (moving("WEBP"), "neither JPEG nor PNG"),
    "a GIF": (file_of(FACE[..., 0], "GIF"), "neither JPEG nor PNG"),
    "a BMP": (file_of(FACE, "BMP"), "neither JPEG nor PNG"),
    "a TIFF": (file_of(FACE, "TIFF"), "neither JPEG nor PNG"),
    "HEIC": (b"\x00\x00\x00\x18ftypheic" + b"\x00" * 40, "most compatible format .JPEG."),
    "HEIF of another phone": (b"\x00\x00\x00\x1cftypmif1" + b"\x00" * 40, "most compatible format .JPEG."),
    "a film": (b"\x00\x00\x00\x14ftypqt  " + b"\x00" * 40, "a film"),
    "more pixels than can be": (png(60_000, 60_000), "no photo that can be read"),
    "too many pixels": (png(8000, 8000), "million pixels"),
}


@pytest.mark.parametrize("what", WRONG)
def test_what_is_no_photo_is_one_clear_sentence(what):
    content, said = WRONG[what]
    with pytest.raises(InputError, match=said) as caught:
        read(content)
    assert caught.value.field == "photo"
    assert caught.value.problem.endswith(".")
    assert caught.value.remedy.endswith(".")


def test_a_file_too_large_is_refused(monkeypatch):
    monkeypatch.setattr(reading, "LARGEST_FILE", 100)
    with pytest.raises(InputError, match="MB"):
        read(shot())


def test_the_largest_photo_is_taken():
    side = int(MOST_PIXELS**0.5)
    out = io.BytesIO()
    Image.new("L", (side, side), 200).save(out, "JPEG", quality=30)
    assert read(out.getvalue()).shape == (side, side, 3)


# EXIF 2.32, tag 274: what each orientation does to the first row and column. Red was written at the left.
@pytest.mark.parametrize(("orientation", "red"), [(1, "left"), (3, "right"), (6, "top"), (8, "bottom"), (99, "left")])
def test_a_turned_camera(orientation, red):
    seen = read(shot(orientation=orientation)).astype(int)
    ends = {"left": seen[:, :5], "right": seen[:, -5:], "top": seen[:5], "bottom": seen[-5:]}
    redness = {name: float(np.mean(end[..., 0] - end[..., 1])) for name, end in ends.items()}
    assert max(redness, key=redness.get) == red


@pytest.mark.parametrize("mode", ["L", "RGBA", "P", "1", "I;16"])
def test_every_kind_of_pixel_becomes_the_same_picture(mode):
    grey = np.repeat(np.where(FACE[..., :1] > 127, 255, 0).astype(np.uint8), 3, axis=2)
    if mode == "I;16":
        content = file_of(grey[..., 0].astype(np.uint16) * 257, "PNG")
    else:
        out = io.BytesIO()
        Image.fromarray(grey).convert(mode).save(out, "PNG")
        content = out.getvalue()
    assert np.array_equal(read(content), grey)


def test_a_lossless_file_is_read_as_it_is():
    assert np.array_equal(read(file_of(FACE, "PNG")), FACE)


def test_a_profile_that_changes_nothing_or_makes_no_sense_is_let_be():
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    assert np.array_equal(read(file_of(FACE, "PNG", icc_profile=srgb)), FACE)
    assert np.array_equal(read(file_of(FACE, "PNG", icc_profile=b"nonsense")), FACE)


def wide_profile():
    """An ICC profile (ICC.1:2001-04, 6 and 7) with the primaries of Display P3 and the curve of sRGB."""
    codes = np.linspace(0, 1, 1024)
    light = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    curve = b"curv\0\0\0\0" + struct.pack(">I", 1024) + np.round(light * 65535).astype(">u2").tobytes()

    def xyz(*values):
        return b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(value * 65536) for value in values))

    name = b"Wide\0"
    tags = {
        b"desc": b"desc\0\0\0\0" + struct.pack(">I", len(name)) + name + b"\0" * 78,
        b"wtpt": xyz(0.9642, 1.0, 0.8249),
        # SMPTE EG 432-1 primaries under D50, as P3 profiles carry them (from memory); each column of them adds to D50.
        b"rXYZ": xyz(0.51512, 0.24120, -0.00105), b"gXYZ": xyz(0.29198, 0.69225, 0.04189),
        b"bXYZ": xyz(0.15710, 0.06657, 0.78407), b"rTRC": curve, b"gTRC": curve, b"bTRC": curve,
    }  # fmt: skip
    at, table, body = 128 + 4 + 12 * len(tags), struct.pack(">I", len(tags)), b""
    for tag, content in tags.items():
        padded = content + b"\0" * (-len(content) % 4)
        table += tag + struct.pack(">II", at + len(body), len(content))
        body += padded
    head = struct.pack(">I4sI4s4s4s", at + len(body), b"\0\0\0\0", 0x02100000, b"mntr", b"RGB ", b"XYZ ")
    head += b"\0" * 12 + b"acsp" + b"\0" * 28 + struct.pack(">3i", 63190, 65536, 54061)
    return head + b"\0" * (128 - len(head)) + table + body


# The matrix from linear Display P3 to linear sRGB: CSS Color Module Level 4, 17 (from memory).
def test_a_phones_wide_colours_are_brought_to_srgb():
    wide = np.array([[200, 120, 90], [90, 140, 100], [128, 128, 128], [60, 70, 120]], dtype=np.uint8)
    turn = np.array([[1.2249, -0.2247, 0.0], [-0.0420, 1.0419, 0.0], [-0.0197, -0.0786, 1.0979]])
    codes = wide / 255
    light = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4) @ turn.T
    wanted = 255 * (1.055 * light ** (1 / 2.4) - 0.055)
    seen = read(file_of(np.tile(wide, (8, 1, 1)), "PNG", icc_profile=wide_profile()))[0]
    assert np.abs(seen - wanted).max() < 1.5
    assert np.abs(seen.astype(int) - wide).max() > 10
