"""Letters that the page's fonts have no shape for: a name with one is refused at its field, never printed as boxes."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import typst

from proofpatch.documents.survey import FONTS
from proofpatch.errors import InputError

# One letter to a box; what is drawn with the same shape as a sign that no font has is missing.
_SHEET = b"""#set page(width: 400mm, height: auto, margin: 5mm)
#set text(font: "Libertinus Serif")
#for letter in json(bytes(sys.inputs.letters)) [#box(width: 9mm)[#letter] ]"""
_NOWHERE = "\U0010fffd"
_PLAIN = frozenset(map(chr, range(0x20, 0x7F)))
MOST_NAMED = 6


def fonts_with(folder: Path | None) -> dict[str, Any]:
    """The fonts of the program, and those of a folder of the shop's own."""
    return FONTS if folder is None else {**FONTS, "font_paths": [str(folder)]}


def without_shape(text: str, folder: Path | None = None) -> str:
    """The letters of a text that no font here can draw, each once."""
    doubtful = "".join(sorted({c for c in text if c not in _PLAIN and c.isprintable() and not c.isspace()}))
    if not doubtful or not _has_box(doubtful, folder):
        return ""
    return "".join(c for c in doubtful if _has_box(c, folder))


@lru_cache(maxsize=4096)
def _has_box(letters: str, folder: Path | None) -> bool:
    """True if one of the letters is drawn as a sign that no font has."""
    inputs = {"letters": json.dumps([*letters, _NOWHERE])}
    svg = typst.compile(_SHEET, format="svg", sys_inputs=inputs, **fonts_with(folder))
    drawn = re.findall(rb'href="#(g[0-9A-F]+)"', svg if isinstance(svg, bytes) else b"".join(svg))
    return drawn.count(drawn[-1]) > 1


def check_letters(texts: Mapping[str, str | Iterable[str]], folder: Path | None = None) -> None:
    """Refuses the first field whose text cannot be drawn whole.

    Raises:
        InputError: letters without a shape; the field is the text's.
    """
    for field, text in texts.items():
        lost = without_shape(text if isinstance(text, str) else "".join(text), folder)
        if lost:
            named = " ".join(lost[:MOST_NAMED]) + (" …" if len(lost) > MOST_NAMED else "")
            raise InputError(
                field,
                f"The fonts here have no shape for {named} in {field}.",
                "Put a font that has them into the shop's font folder, or write it in other letters.",
            )
