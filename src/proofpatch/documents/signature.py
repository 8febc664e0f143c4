"""A signature drawn with a finger, as the picture that stands on a paper."""

from __future__ import annotations

import base64
import binascii
import io
import warnings

from PIL import Image, UnidentifiedImageError

from proofpatch.errors import InputError

START = "data:image/png;base64,"
LONGEST = 400_000  # characters of the text it comes as
LARGEST = (2400, 1200)  # px
WIDEST = 900  # px kept
FAINT = 40  # of 255; less is no ink
LEAST_INK = 30  # px; a touch by mistake is no signature


def signature_png(text: str) -> bytes:
    """The picture of a form's field, ink on nothing, cut to its ink; nothing of nothing.

    Raises:
        InputError: it is no picture, or nothing is drawn on it.
    """
    if not text.strip():
        return b""
    again = InputError("signature", "The signature cannot be read.", "Clear it and sign again.")
    if len(text) > LONGEST or not text.startswith(START):
        raise again
    try:
        content = base64.b64decode(text[len(START) :], validate=True)
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(content), formats=("PNG",)) as picture:
                if picture.width > LARGEST[0] or picture.height > LARGEST[1]:
                    raise again
                drawn = picture.convert("RGBA").getchannel("A")
    except (binascii.Error, UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombWarning,
            Image.DecompressionBombError):  # fmt: skip
        raise again from None
    ink = drawn.point([255 if level > FAINT else 0 for level in range(256)])
    if ink.histogram()[255] < LEAST_INK:
        raise InputError(
            "signature", "Nothing is drawn in the field.", "Sign with the finger, or tick signed on paper."
        )
    box = ink.getbbox()
    # The ink of the screen may be the pale one of a dark page: on paper it is black.
    bare = Image.new("RGBA", drawn.size, (0, 0, 0, 0))
    bare.putalpha(drawn)
    cut = bare.crop(box)
    cut.thumbnail((WIDEST, WIDEST))
    out = io.BytesIO()
    cut.save(out, "PNG")
    return out.getvalue()
