"""Numbers as a device wants them: a point or a comma before the decimals, on the finished page.

What is no quantity keeps its points: addresses, numbers of standards and rules, commands, what somebody typed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

MARKS = {"point": ".", "comma": ","}
_MARK: ContextVar[str] = ContextVar("mark", default="point")
# Elements whose text is not ours to change, a field with its value, or text between two tags.
PIECES = re.compile(r"<(code|pre|cite|textarea|script|style|title)\b.*?</\1>|<input\b[^>]*>|>[^<]+(?=<)", re.S)
DECIMAL = re.compile(r"(?<![\w.,:/§-])(\d+)\.(\d+)(?![\w]*[./:-]\d)(?!\w)")
RULES = re.compile(
    r"(?:CFR|RFC|IEC|ISO|EN|DIN|ANSI|Z136|WCAG|arXiv|doi|section|chapter|table|Table|version|Python)[: ]*$"
)
VALUE = re.compile(r'(\bvalue=")(-?\d+)\.(\d+)((?: [^"\d]{1,12}[²³]?)?")')


def mark() -> str:
    """What stands before the decimals just now: "." or ","."""
    return MARKS[_MARK.get()]


@contextmanager
def marked(name: str) -> Iterator[None]:
    """Pages made inside have this mark; one that is not known leaves the point."""
    before = _MARK.set(name if name in MARKS else "point")
    try:
        yield
    finally:
        _MARK.reset(before)


def with_mark(page: str) -> str:
    """The page with its decimals as the device wants them."""
    return page if mark() == "." else PIECES.sub(_piece, page)


def _piece(found: re.Match[str]) -> str:
    piece = found[0]
    if found[1]:
        return piece
    if piece.startswith("<input"):
        # A slider's value, or one that is hidden, is read by no person.
        return piece if ' type="' in piece else VALUE.sub(rf"\g<1>\g<2>{mark()}\g<3>\g<4>", piece)
    return DECIMAL.sub(lambda one: one[0] if RULES.search(piece[: one.start()]) else f"{one[1]}{mark()}{one[2]}", piece)
