"""A photo's file as a picture, or one sentence that says why not and what to do."""

from __future__ import annotations

import io
import re
import struct
import warnings
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from proofpatch.errors import InputError

LARGEST_FILE = 60_000_000  # bytes
MOST_PIXELS = 50_000_000
# Of a JPEG: times it goes over its picture, phones write 1 to some 12, and each may take a second; parts; and bytes
# between two of them, which are looked at one by one.
MOST_SCANS, MOST_PARTS, MOST_FILLING = 40, 10_000, 1000
MOST_CHUNKS = 50_000  # of a PNG; writers put 4 kB or more of the picture into each
JPEG, PNG = b"\xff\xd8", b"\x89PNG"
OTHERS = (b"GIF8", b"BM", b"II*\0", b"MM\0*")  # GIF, BMP, TIFF
MARKER = re.compile(rb"\xff([\x02-\xcf\xd9-\xfe])")
KINDS = ("JPEG", "PNG")
# ISO/IEC 14496-12, 4.3: a file that begins with a box "ftyp" names its brand next. Brands of ISO/IEC 23008-12 (HEIF).
HEIF = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"avif", b"avis")
TROUBLES = (
    UnidentifiedImageError, OSError, ValueError, SyntaxError, struct.error, EOFError, Image.DecompressionBombWarning,
    Image.DecompressionBombError,
)  # fmt: skip


def read(content: bytes) -> NDArray[np.uint8]:
    """The photo upright, in sRGB: (H, W, 3), 0 to 255.

    Args:
        content: of a JPEG or PNG file, up to LARGEST_FILE bytes and MOST_PIXELS.

    Raises:
        InputError: no such file; the sentence says what is wrong with it.
    """
    _, picture = opened(content)
    return np.asarray(_to_srgb(picture).convert("RGB"))


def opened(content: bytes) -> tuple[str, Image.Image]:
    """(JPEG or PNG, the picture upright and read to its end). Arguments and errors as `read`."""
    _expect_photo(content)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(content), formats=KINDS) as picture:
                kind = _kind(picture)
                try:
                    picture.load()
                except TROUBLES:
                    said = "The photo breaks off: part of its file is missing or damaged."
                    raise InputError("photo", said, "Send it again, or take it again.") from None
                return kind, upright(picture)
    except InputError:
        raise
    except TROUBLES:
        raise InputError("photo", "The file is no photo that can be read.", "Choose another.") from None


def upright(picture: Image.Image) -> Image.Image:
    """As it is to be seen; an orientation that makes no sense counts as none."""
    try:
        return ImageOps.exif_transpose(picture)
    except (TypeError, ValueError, struct.error):
        return picture.copy()


def _expect_photo(content: bytes) -> None:
    """Errors that the first bytes and the size tell."""
    if not content:
        raise InputError("photo", "The photo is empty.", "Take it again.")
    if len(content) > LARGEST_FILE:
        raise InputError("photo", f"The photo has more than {LARGEST_FILE // 10**6} MB.", "Choose a smaller size.")
    if content[4:8] == b"ftyp":
        if content[8:12] in HEIF:
            remedy = "In the phone's camera settings choose the most compatible format (JPEG), and take it again."
            raise InputError("photo", "This photo is in a format that few programs read.", remedy)
        raise InputError("photo", "This is a film, not a photo.", "Take a photo, as JPEG.")
    # Another kind is not even opened: an icon draws what it holds at once, however large.
    if content.startswith(OTHERS) or (content.startswith(b"RIFF") and content[8:12] == b"WEBP"):
        raise InputError("photo", "The file is neither JPEG nor PNG.", "Choose a photo.")
    scans = scans_of(content) if content.startswith(JPEG) else int(content.startswith(PNG) and _is_short(content))
    if not scans:
        raise InputError("photo", "The file is no photo that can be read.", "Choose another.")
    if scans > MOST_SCANS:
        raise InputError("photo", f"The photo is drawn in more than {MOST_SCANS} turns.", "Save it again, as JPEG.")


def scans_of(content: bytes) -> int:
    """How often a JPEG goes over its picture, up to one more than MOST_SCANS; 0: it is none, but parts and filling.

    Source: ITU-T T.81 (ISO/IEC 10918-1), B.1.1: a marker is FF and its code, within a scan FF 00 and restarts are none.
    """
    at, found = 2, 0
    for _ in range(MOST_PARTS):
        marker = MARKER.search(content, at, len(content) if found else at + MOST_FILLING)
        if marker is None or marker[1] == b"\xd9" or found > MOST_SCANS:
            return found
        found += marker[1] == b"\xda"
        at = marker.end() + int.from_bytes(content[marker.end() : marker.end() + 2], "big")
    return found and MOST_SCANS + 1


def _is_short(content: bytes) -> bool:
    """Whether a PNG has no more chunks than it may: each is looked at by itself, an empty one too."""
    at = len(PNG) + 4
    for _ in range(MOST_CHUNKS):
        at += 12 + int.from_bytes(content[at : at + 4], "big")
        if at >= len(content):
            return True
    return False


def _kind(picture: Image.Image) -> str:
    # Many phones put a second view into their JPEG.
    kind = "JPEG" if picture.format == "MPO" else picture.format or ""
    if kind != "JPEG" and getattr(picture, "is_animated", False):
        raise InputError("photo", "This picture moves: it is several in one file.", "Take one photo, as JPEG.")
    if picture.width * picture.height > MOST_PIXELS:
        said = f"The photo has more than {MOST_PIXELS // 10**6} million pixels."
        raise InputError("photo", said, "Choose a smaller size.")
    return kind


def _to_srgb(picture: Image.Image) -> Image.Image:
    """In the sRGB colours that the rest counts in; phones write wider ones and say so by a profile."""
    if picture.mode.startswith("I"):
        return Image.fromarray((np.asarray(picture) >> 8).astype(np.uint8))
    profile = picture.info.get("icc_profile")
    if not profile or picture.mode != "RGB":
        return picture
    try:
        turn = _turn(profile)
        return picture if turn is None else ImageCms.applyTransform(picture, turn) or picture
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return picture


@lru_cache(maxsize=8)
def _turn(profile: bytes) -> ImageCms.ImageCmsTransform | None:
    """From these colours to sRGB, or None where they are the same."""
    said = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    if "srgb" in (ImageCms.getProfileDescription(said) or "").lower():
        return None
    return ImageCms.buildTransform(said, ImageCms.createProfile("sRGB"), "RGB", "RGB")
