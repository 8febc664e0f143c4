"""What the papers for a customer share: letterhead, photos, a signature, and the way to PDF."""

from __future__ import annotations

import datetime
import io
import json
import tempfile
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import typst
from babel.dates import format_date
from PIL import Image, ImageOps, UnidentifiedImageError

from proofpatch.documents.letters import check_letters, fonts_with
from proofpatch.documents.survey import breakable
from proofpatch.errors import InputError
from proofpatch.offer.quote import Party
from proofpatch.shop.settings import PAPERS

HERE = Path(__file__).parent
PHOTO_SIZE = 1400  # px of the longer side; sharp at 70 mm on paper
MOST_PIXELS = 50_000_000


@dataclass(frozen=True)
class Shot:
    """A photo for the page: JPEG or PNG, what is on it for who cannot see it, and the line under it."""

    content: bytes
    alt: str
    words: str = ""


@dataclass(frozen=True)
class Signature:
    """Who signed a paper, and when. picture: PNG with ink on nothing; empty: the ink is on a sheet of its own.

    ticked: what was ticked. chosen: name of the option, empty for the quoted one. approved: of a sample.
    """

    name: str
    when: datetime.datetime
    picture: bytes = b""
    ticked: tuple[str, ...] = ()
    chosen: str = ""
    approved: bool = True


def headed(kind: str, number: str, shop: Party, customer: Party, title: str) -> dict[str, Any]:
    """What the letterhead shows, as words."""
    return {
        "kind": kind, "number": number, "title": title, "lead": "", "versioned": "", "photo": "", "photo_alt": "",
        "photo_words": "", "shop": shop.record(), "customer": customer.record(),
    }  # fmt: skip


def day_words(day: datetime.date, locale: str) -> str:
    """A day as the paper writes it."""
    return str(format_date(day, "long", locale=locale))


def printed(
    template: str, data: Mapping[str, Any], paper: str, day: datetime.date, locale: str, photo: Shot | None,
    fonts: Path | None, signature: Signature | None = None, files: Mapping[str, bytes] | None = None,
) -> bytes:  # fmt: skip
    """A template as PDF.

    Args:
        data: what it shows. day: on it. photo: the one photo of a quote. files: other pictures by their names.

    Raises:
        InputError: another paper, or a photo that is none.
    """
    if paper not in PAPERS:
        raise InputError("paper", f"The paper {paper!r} is not known.", f"Use one of: {', '.join(PAPERS)}.")
    page = {**data, "paper": paper, "date": [day.year, day.month, day.day], "signed": _signed(signature, locale)}
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        for name in (template, "letterhead.typ"):
            (place / name).write_bytes((HERE / name).read_bytes())
        if photo is not None:
            (place / "photo.jpg").write_bytes(_small(photo.content))
            page |= {"photo": "photo.jpg", "photo_alt": photo.alt, "photo_words": photo.words or photo.alt}
        for name, content in (files or {}).items():
            (place / name).write_bytes(content)
        if signature is not None and signature.picture:
            (place / "signature.png").write_bytes(signature.picture)
        inputs = {"data": json.dumps(breakable(page))}
        return bytes(typst.compile(str(place / template), format="pdf", sys_inputs=inputs, **fonts_with(fonts)))


def _signed(signature: Signature | None, locale: str) -> dict[str, Any]:
    """A signature as the template shows it; of none all is empty."""
    if signature is None:
        return {"name": "", "words": "", "picture": "", "ticked": [], "chosen": "", "approved": True}
    check_letters({"name": signature.name})
    when = signature.when
    clock = "" if (when.hour, when.minute, when.second) == (0, 0, 0) else f", {when:%H:%M} {when:%Z}".rstrip()
    how = "" if signature.picture else ", signed on paper"
    return {
        "name": signature.name, "words": f"{signature.name}, {day_words(when.date(), locale)}{clock}{how}",
        "picture": "signature.png" if signature.picture else "", "ticked": list(signature.ticked),
        "chosen": signature.chosen, "approved": signature.approved,
    }  # fmt: skip


def _small(content: bytes) -> bytes:
    """The photo upright, no larger than the page needs, without what the camera wrote into it."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(content), formats=("JPEG", "PNG")) as picture:
                if picture.width * picture.height > MOST_PIXELS:
                    raise InputError("photo", "The photo has too many pixels.", "Choose a smaller size.")
                upright = ImageOps.exif_transpose(picture).convert("RGB")
        upright.thumbnail((PHOTO_SIZE, PHOTO_SIZE))
        out = io.BytesIO()
        upright.save(out, "JPEG", quality=88)
        return out.getvalue()
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombWarning,
            Image.DecompressionBombError) as slip:  # fmt: skip
        if isinstance(slip, InputError):
            raise
        raise InputError("photo", "The file is no photo that can be read.", "Choose another.") from None
