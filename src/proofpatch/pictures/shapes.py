"""A sketch of each shape that is measured, with the letters of its figures; one ink, that of the words around it."""

from __future__ import annotations

import html
from collections.abc import Iterable
from dataclasses import dataclass, field

from proofpatch.pictures.look import TEXT

LEFT, SIZE = 6, (148, 112)  # px, never scaled; a letter may stand over the edge


@dataclass(frozen=True)
class Sketch:
    """Lines of a shape, thinner dashed ones, and where the letter of each figure stands: (letter, x, y)."""

    lines: str
    dashed: str = ""
    letters: dict[str, tuple[str, int, int]] = field(default_factory=dict)


_LEVEL = {"length": ("L", 80, 107)}
_PIECE = {"height": ("H", 26, 56), "width": ("W", 80, 109)}
_LATHE = "M16 40l24-16l16 20l30-26l24 20h34v24h-34l-24 20l-30-26l-16 20l-24-16z"
_MOULDING = (
    "M24 90V70c20 0 26-12 26-30h16M94 66V46c20 0 26-12 26-30h16"
    "M24 90l70-24M24 70l70-24M50 40l70-24M66 40l70-24M136 16v26L94 66"
)  # fmt: skip
SKETCHES = {
    "panel": Sketch("M24 12h100v70H24zM124 12l10 8v70l-10-8M24 82l10 8h100", "",
                    {"length": ("L", 80, 107), "width": ("W", 11, 53), "thickness": ("t", 141, 16)}),
    "frame": Sketch("M40 8h80v84H40zM52 20h24v60H52zM84 20h24v60H84z", "M108 56h10",
                    {**_PIECE, "member": ("m", 132, 56)}),
    "joinery": Sketch("M48 6h64v86H48zM57 15h46v29H57zM57 54h46v29H57z", "", _PIECE),
    "trellis": Sketch("M40 10h80v80H40zM40 50l40-40M40 90l80-80M80 90l40-40M80 10l40 40M40 10l80 80M40 50l40 40", "",
                      _PIECE),
    "moulding": Sketch(_MOULDING, "M17 90V63c18 0 25-10 25-30h20",
                       {"girth": ("g", 26, 48), "length": ("L", 70, 99)}),
    "profile": Sketch(_MOULDING, "M24 97h42M24 93v8M66 93v8", {"width": ("W", 46, 110), "length": ("L", 104, 78)}),
    "turned": Sketch(_LATHE, "M6 50h148M40 18v64M56 36v28M86 12v76M110 30v40", {"ends": ("e", 152, 42)}),
    "spindle": Sketch(_LATHE, "M16 18h128v64H16zM6 50h148", {"length": ("L", 80, 104), "diameter": ("d", 152, 44)}),
    "cylinder": Sketch("M50 20v62c0 6 13 11 30 11s30-5 30-11V20M50 20a30 11 0 1 0 60 0a30 11 0 1 0-60 0",
                       "M50 20h20M90 20h20", {"diameter": ("d", 80, 25), "length": ("L", 124, 60)}),
    "cone": Sketch("M40 84l24-64M120 84l-24-64M64 20a16 7 0 1 0 32 0a16 7 0 1 0-32 0M40 84c0 6 18 12 40 12s40-6 40-12",
                   "M40 84h30M90 84h30M136 20v64M132 20h8M132 84h8",
                   {"diameter": ("d", 80, 89), "top": ("t", 80, 10), "height": ("H", 149, 56)}),
    "sphere": Sketch("M38 54a42 42 0 1 0 84 0a42 42 0 1 0-84 0",
                     "M38 54h32M90 54h32M44 32h72M130 12v20M126 12h8M126 32h8",
                     {"diameter": ("d", 80, 59), "height": ("H", 146, 27)}),
    "box": Sketch("M24 36h80v56H24zM24 36l28-22h80l-28 22M104 92l28-22V14", "",
                  {"length": ("L", 64, 108), "width": ("W", 130, 92), "height": ("H", 11, 69)}),
    "louvre": Sketch("M38 8h84v84H38z" + "".join(f"M46 {y + 12}l8-12h60l-8 12z" for y in (16, 34, 52, 70)), "",
                     {"width": ("W", 80, 109), "slat": ("b", 134, 28)}),
    "corrugated": Sketch("M10 66q12-20 24 0t24 0t24 0t24 0t12-10M10 66l28-30M118 56l28-30"
                         "M38 36q12-20 24 0t24 0t24 0t24 0t12-10",
                         "M22 86h48M22 82v8M70 82v8M128 56v20M124 56h8M124 76h8",
                         {"pitch": ("p", 46, 103), "depth": ("d", 143, 71)}),
    "wall": Sketch("M22 14h122v74H22zM40 88V44h22v44M86 32h34v26H86z", "",
                   {"length": ("L", 80, 107), "height": ("H", 9, 56)}),
    "polygon": Sketch("M34 82l10-56l46-12l40 32l-16 42z", "",
                      {"1": ("1", 24, 96), "2": ("2", 32, 24), "3": ("3", 94, 11), "4": ("4", 142, 48),
                       "5": ("5", 124, 102)}),
    "area": Sketch("M28 58c0-30 32-44 58-40s50 20 44 44s-40 30-64 28s-38-12-38-32z", "", {"area": ("A", 80, 61)}),
}  # fmt: skip


def sketch(name: str) -> str:
    """The drawing of a shape for within a page; what it shows is said beside it."""
    one = SKETCHES[name]
    wide, tall = SIZE
    words = "".join(
        f'<text x="{x}" y="{y}" text-anchor="middle">{html.escape(letter)}</text>'
        for letter, x, y in one.letters.values()
    )
    dashed = f'<path d="{one.dashed}" stroke-width="1.2" stroke-dasharray="4 3"/>' if one.dashed else ""
    return (
        f'<svg width="{wide}" height="{tall}" viewBox="{LEFT} 0 {wide} {tall}" aria-hidden="true" '
        f'overflow="visible" font-size="{TEXT}">'
        f'<g fill="none" stroke="currentColor" stroke-linejoin="round"><path d="{one.lines}" stroke-width="1.6"/>'
        f'{dashed}</g><g fill="currentColor" font-style="italic">{words}</g></svg>'
    )  # fmt: skip


def lettered(name: str) -> dict[str, str]:
    """The letter of each figure of a shape that has one in its sketch."""
    return {key: letter for key, (letter, _, _) in SKETCHES[name].letters.items() if not key.isdigit()}


def tapped(
    size: tuple[int, int], known: Iterable[tuple[float, float]], outlines: list[list[tuple[float, float]]],
    closed: bool, open_: int | None = None, rough: Iterable[tuple[float, float]] = (),
) -> str:  # fmt: skip
    """Taps over a photo: what is known dashed, the outline and its openings solid, each line on a slip of paper.

    Args:
        size: of the picture [px]; all points are in its pixels.
        outlines: the outer one first. closed: the outer one. open_: the number of the one that is still tapped.
        rough: a first tap, to be tapped again.
    """
    parts = [
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="16" stroke="var(--{ink})" stroke-width="{wide}"/>'
        for x, y in rough for ink, wide in (("paper", 6), ("ink", 2.4))
    ]  # fmt: skip
    for number, points in enumerate([list(known), *outlines]):
        if not points:
            continue
        shut = number != (open_ if open_ is not None else -1) + 1 and (closed or number != 1) and len(points) > 2
        d = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) + ("z" if shut else "")
        dash = ' stroke-dasharray="6 4"' if number == 0 else ""
        parts.append(f'<path d="{d}" stroke="var(--paper)" stroke-width="6"/>')
        parts.append(f'<path d="{d}" stroke="var(--ink)" stroke-width="2.4"{dash}/>')
        parts += [
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" fill="var(--ink)" stroke="var(--paper)" stroke-width="2.4"/>'
            for x, y in points
        ]
    wide, tall = size
    return (
        f'<svg class="over" width="{wide}" height="{tall}" viewBox="0 0 {wide} {tall}" aria-hidden="true" fill="none" '
        f'stroke-linejoin="round">{"".join(parts)}</svg>'
    )
