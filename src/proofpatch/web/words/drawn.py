"""The words of a drawing in another language: a slip of paper under them grows with them, and none leaves the drawing.

A drawing is made once, for words in English; which language it is shown in is known at the page only.
"""

from __future__ import annotations

import html
import re
import unicodedata
from collections.abc import Callable

from proofpatch.pictures.drawing import PAGE, spread

SIZE = re.compile(r'<svg [^>]*?width="(\d+)"')
TEXT = r"<text ([^>]*)>([^<]*)</text>"
PARTS = re.compile(
    r'(?P<label>aria-label=")(?P<said>[^"]*)"'
    r'|<rect x="(?P<x>-?[\d.]+)"(?P<y>[^>]*?) width="(?P<wide>[\d.]+)"'
    r'(?P<rest> height="[\d.]+" fill="var\(--paper\)"/>)'
    r"(?P<lines>(?:<text [^>]*>[^<]*</text>)+)"
    rf"|{TEXT}"
)
LINE = re.compile(TEXT)
X = re.compile(r'\bx="(-?[\d.]+)"')
BESIDE = 10  # px of paper beside the words of a slip
Say = Callable[[str], str]


def drawing(made: str, say: Say) -> str:
    """A page's drawings with their texts and labels as `say` has them."""
    pieces = re.split(r"(?=<svg )", made)
    return "".join(_one(piece, say) for piece in pieces)


def _one(made: str, say: Say) -> str:
    size = SIZE.match(made)
    if size is None:
        return made
    wide = int(size[1])

    def piece(found: re.Match[str]) -> str:
        if found["label"]:
            return found["label"] + _said(found["said"], say) + '"'
        if found["lines"]:
            return _slip(found, wide, say)
        (line,) = LINE.findall(found[0])
        return _text(line[0], line[1], wide, say)

    return PARTS.sub(piece, made)


def _said(words: str, say: Say) -> str:
    return html.escape(say(html.unescape(words)))


def _spread(words: str, more: str) -> float:
    """How wide words are [px]; a letter with an accent is as wide as without."""
    plain = "".join(one for one in unicodedata.normalize("NFD", html.unescape(words)) if not unicodedata.combining(one))
    return spread(plain, PAGE, "font-weight" in more)


def _slip(found: re.Match[str], wide: int, say: Say) -> str:
    """Words on paper; a slip on a slant, whose place is counted from its middle, grows to both sides."""
    lines = [(more, _said(words, say)) for more, words in LINE.findall(found["lines"])]
    x, width = float(found["x"]), float(found["wide"])
    new = max(width, *(_spread(words, more) + BESIDE for more, words in lines))
    by = -(new - width) / 2 if x < 0 else -max(0.0, min(x, x + new - wide))
    moved = "".join(f"<text {_moved(more, by)}>{words}</text>" for more, words in lines)
    return '<rect x="{:.0f}"{} width="{:.0f}"{}'.format(x + by, found["y"], new, found["rest"]) + moved


def _text(more: str, words: str, wide: int, say: Say) -> str:
    """Words on the drawing itself: where they would leave it they are moved in, and set closer if they find no room."""
    said = _said(words, say)
    at, long = X.search(more), _spread(said, more)
    if said == words or at is None or float(at[1]) < 0 or "transform" in more:
        return f"<text {more}>{said}</text>"
    x = float(at[1])
    if 'anchor="end"' in more:
        if long > x:
            more += f' textLength="{x - 2:.0f}" lengthAdjust="spacingAndGlyphs"'
    elif 'anchor="middle"' in more:
        x = min(max(x, long / 2), wide - long / 2)
    elif x + long > wide:
        x = max(0.0, wide - long)
        if long > wide:
            more += f' textLength="{wide}" lengthAdjust="spacingAndGlyphs"'
    return f"<text {_moved(more, x - float(at[1]))}>{said}</text>"


def _moved(more: str, by: float) -> str:
    """The attributes of a text that stands `by` px further to the right."""
    return X.sub(lambda at: f'x="{float(at[1]) + by:.0f}"', more, count=1)
