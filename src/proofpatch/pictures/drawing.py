"""What the drawings of a page share: one ink in two forms, words on slips of paper, log axes, the glyphs of grades.

A drawing that stands inside a page takes its colours from the page, so that one drawing serves light, dark and print;
one that stands alone in a file has them spelled out.
"""

from __future__ import annotations

import html
import itertools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from proofpatch.learn.evidence import HARMS, RESIDUES
from proofpatch.pictures.look import HAIR, INK, MARK, PAPER, SOFT, TEXT, WORKS

Box = tuple[float, float, float, float]  # left, top, right, bottom [px]
WIDE, MIDDLE = 688, 520  # px; these and NARROW are drawn and none is scaled
LINE = 20  # px from one line of words to the next
# Thousandths of the font size, measured in a browser in Atkinson Hyperlegible Next 400; 600 is BOLD times as wide.
LETTERS = " !'(),-./0123456789:;ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz\u2009²µ°"
WIDTHS = (
    280, 286, 160, 299, 299, 210, 362, 210, 357, *(10 * [632]), 210, 210,
    626, 613, 645, 669, 569, 552, 694, 694, 392, 512, 631, 541, 824, 693, 714, 592, 724, 614, 592, 478, 690, 563, 856,
    623, 535, 607, 525, 566, 485, 564, 538, 309, 558, 550, 252, 245, 492, 262, 845, 550, 548, 566, 574, 359, 471, 309,
    540, 446, 669, 481, 434, 460, 140, 382, 636, 352,
)  # fmt: skip
WIDTH_OF = dict(zip(LETTERS, WIDTHS, strict=True))
UNKNOWN = 850  # a letter that was not measured
BOLD = 1.05
NICE = ((1, 1.5, 2, 3, 5, 8), (1, 2, 5), (1, 3), (1,))  # mantissas of ticks, the fullest that fits
# Share of a patch's glyph that is ruled, by what is left.
RULED = dict(zip(RESIDUES, (1.0, 0.78, 0.5, 0.2, 0.0), strict=True))


@dataclass(frozen=True)
class Ink:
    """The colours of a drawing; family: of its words, empty where a page gives it; stretch: of its letters."""

    ink: str
    soft: str
    hair: str
    paper: str
    mark: str
    family: str = ""
    stretch: float = 1.0


PAGE = Ink("var(--ink)", "var(--soft)", "var(--hair)", "var(--paper)", "var(--mark)")
# A file may be shown in the next best font, whose letters are wider.
FILE = Ink(INK, SOFT, HAIR, PAPER, MARK, WORKS, 1.2)


def svg(size: tuple[int, int], says: str, parts: Iterable[str], ink: Ink, more: str = "") -> str:
    """A drawing of its own; says: the same in words. more: attributes."""
    wide, tall = size
    family = f' font-family="{html.escape(ink.family)}"' if ink.family else ""
    ground = f'<rect width="{wide}" height="{tall}" fill="{ink.paper}"/>' if ink.family else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}" height="{tall}" viewBox="0 0 {wide} {tall}" '
        f'role="img" aria-label="{html.escape(says)}" font-size="{TEXT}" fill="{ink.ink}"{family}{more}>'
        + ground + "".join(parts) + "</svg>"
    )  # fmt: skip


def spread(words: str, ink: Ink, bold: bool = False) -> float:
    """How wide words are [px]."""
    letters = sum(WIDTH_OF.get(letter, UNKNOWN) for letter in words)
    return letters / 1000 * TEXT * (BOLD if bold else 1.0) * ink.stretch


def text(x: float, y: float, words: str, anchor: str = "start", bold: bool = False, colour: str = "") -> str:
    """Words whose base line begins, has its middle or ends at a place."""
    more = ("" if anchor == "start" else f' text-anchor="{anchor}"') + (' font-weight="600"' if bold else "")
    more += f' fill="{colour}"' if colour else ""
    return f'<text x="{x:.0f}" y="{y:.0f}"{more}>{html.escape(words)}</text>'


def slip_box(x: float, y: float, lines: Sequence[str], bold: int, ink: Ink) -> Box:
    """The slip under lines of words whose first one's middle is at y and left end at x; the first `bold` are bold."""
    wide = max(spread(line, ink, n < bold) for n, line in enumerate(lines))
    return x - 5, y - LINE / 2, x + wide + 5, y + LINE * (len(lines) - 0.5)


def slip(x: float, y: float, lines: Sequence[str], bold: int, ink: Ink) -> str:
    """Lines of words on a slip of bare paper, placed as by `slip_box`."""
    left, top, right, bottom = slip_box(x, y, lines, bold, ink)
    words = "".join(text(x, y + 5 + LINE * n, line, bold=n < bold) for n, line in enumerate(lines))
    size = f'width="{right - left:.0f}" height="{bottom - top:.0f}"'
    return f'<rect x="{left:.0f}" y="{top:.0f}" {size} fill="{ink.paper}"/>{words}'


def apart(one: Box, others: Iterable[Box]) -> bool:
    """True if a box touches none of the others."""
    return all(one[2] <= b[0] or b[2] <= one[0] or one[3] <= b[1] or b[3] <= one[1] for b in others)


def within(one: Box, other: Box) -> bool:
    """True if a box lies in another."""
    return one[0] >= other[0] and one[1] >= other[1] and one[2] <= other[2] and one[3] <= other[3]


def ticks(low: float, high: float, place: Callable[[float], float], room: Callable[[float], float]) -> list[float]:
    """Round values of a log axis, as many as have room: `room` px of each around its `place`."""
    decades = range(math.floor(math.log10(low)), math.floor(math.log10(high)) + 1)
    found: list[float] = []
    for mantissas in NICE:
        found = [m * 10.0**d for d in decades for m in mantissas if low * 0.999 <= m * 10.0**d <= high * 1.001]
        near = itertools.pairwise(found)
        if all(abs(place(b) - place(a)) >= (room(a) + room(b)) / 2 for a, b in near):
            break
    return found


def glyph(x: float, y: float, residue: str, harm: str, ink: Ink, side: float = 20.0) -> str:
    """A graded patch about a place: ruled as far as coating is left; five dots, a ring or a disc for harm."""
    left, top = x - side / 2, y - side / 2
    parts = [
        f'<rect x="{left:.1f}" y="{top:.1f}" width="{side:.0f}" height="{side:.0f}" fill="{ink.paper}" '
        f'stroke="{ink.ink}" stroke-width="1.6"/>'
    ]
    covered = RULED[residue] * side
    if covered:
        rules = []
        for c in range(5, int(side + covered), 5):  # along x + y = c, cut to the covered part
            start, end = max(0.0, c - side), min(covered, float(c))
            if end > start:
                step = end - start
                rules.append(f"M{left + start:.1f} {top + c - start:.1f}l{step:.1f} {-step:.1f}")
        rules += [f"M{left + covered:.1f} {top:.1f}v{side:.0f}"] if covered < side else []
        parts.append(f'<path d="{"".join(rules)}" fill="none" stroke="{ink.ink}" stroke-width="1.2"/>')
    grade = HARMS.index(harm)
    if grade == 1:
        reach = side / 5
        spots = ((0, 0), (-reach, -reach), (reach, -reach), (-reach, reach), (reach, reach))
        parts += [f'<circle cx="{x + dx:.1f}" cy="{y + dy:.1f}" r="1.7"/>' for dx, dy in spots]
    elif grade == 2:
        parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{side / 4:.1f}" fill="none" stroke="{ink.ink}" '
                     'stroke-width="2.6"/>')  # fmt: skip
    elif grade == 3:
        parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{0.36 * side:.1f}"/>')
    return "".join(parts)
