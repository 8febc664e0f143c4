"""The zones of a piece as fields: ruled where coating is still on, bare where it is off, framed where the hand is now.

A field is as large as its zone among the others; nobody measured where zones lie, so the picture does not say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from proofpatch.learn.evidence import HARMS
from proofpatch.pictures.drawing import PAGE, Box, Ink, svg

SIZE = (156, 240)  # px, for a phone and a laptop; never scaled
FRAME, GAP = 10, 6  # px from the piece's edge to its fields, and between two
LEAST = 0.35  # of an even share: no field is so small that its number does not fit
RULES = 7  # px between two rules
MOST = 24  # fields in which a number can be read


@dataclass(frozen=True)
class Field:
    """One zone: its number, its area [m²], done / begun / to do / stopped, worst harm seen, whether it is in hand."""

    number: int
    area: float
    state: str
    harm: str = "none"
    here: bool = False


def zones_svg(fields: Sequence[Field], says: str, size: tuple[int, int] = SIZE, ink: Ink = PAGE) -> str:
    """The picture as text, for within a page; says: the same in words. Empty where there are too many to be told."""
    if not 0 < len(fields) <= MOST:
        return ""
    wide, tall = size
    even = 1.0 / len(fields)
    total = sum(one.area for one in fields) or 1.0
    shares = [max(one.area / total, LEAST * even) for one in fields]
    boxes = laid(shares, (FRAME, FRAME, wide - FRAME + GAP, tall - FRAME + GAP))
    parts = [
        f'<rect x="1" y="1" width="{wide - 2}" height="{tall - 2}" fill="{ink.paper}" stroke="{ink.ink}" '
        'stroke-width="1.6"/>'
    ]
    # The one in hand last: its frame lies over its neighbours.
    for one, (left, top, right, bottom) in sorted(zip(fields, boxes, strict=True), key=lambda pair: pair[0].here):
        parts.append(_field(one, (left, top, right - GAP, bottom - GAP), ink))
    return svg(size, says, parts, ink)


def laid(shares: Sequence[float], box: Box) -> list[Box]:
    """A box cut into one for each share, in their order, from the top left; each as near to a square as halves allow.

    Halved again and again across its longer side, so that both halves hold about as much.
    """
    if len(shares) == 1:
        return [box]
    total, left, top, right, bottom = sum(shares), *box
    cut = min(range(1, len(shares)), key=lambda n: abs(sum(shares[:n]) / total - 0.5))
    part = sum(shares[:cut]) / total
    if right - left > bottom - top:
        middle = left + part * (right - left)
        halves = (left, top, middle, bottom), (middle, top, right, bottom)
    else:
        middle = top + part * (bottom - top)
        halves = (left, top, right, middle), (left, middle, right, bottom)
    return laid(shares[:cut], halves[0]) + laid(shares[cut:], halves[1])


def _field(one: Field, box: Box, ink: Ink) -> str:
    left, top, right, bottom = box
    x, y = (left + right) / 2, (top + bottom) / 2
    parts = []
    ruled = {"done": 0.0, "begun": 0.5}.get(one.state, 1.0)
    if ruled:
        rules = _ruled((left, top, left + ruled * (right - left), bottom))
        parts.append(f'<path d="{rules}" fill="none" stroke="{ink.ink}" stroke-width="1.2"/>')
    stroke = f'stroke="{ink.mark}" stroke-width="4"' if one.here else f'stroke="{ink.ink}" stroke-width="1.6"'
    parts.append(f'<path d="M{left:.1f} {top:.1f}H{right:.1f}V{bottom:.1f}H{left:.1f}z" fill="none" {stroke}/>')
    if one.state == "stopped":
        parts.append(f'<path d="M{right - 8:.1f} {top:.1f}V{bottom:.1f}" stroke="{ink.ink}" stroke-width="7"/>')
    parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="12" fill="{ink.paper}"/>')
    parts.append(f'<text x="{x:.1f}" y="{y + 5:.1f}" text-anchor="middle" font-weight="600">{one.number}</text>')
    if (grade := HARMS.index(one.harm)) and bottom - top > 44:
        parts += _harm(x, y + 20, grade, ink)
    return "".join(parts)


def _ruled(box: Box) -> str:
    """Slanting lines within a box."""
    left, top, right, bottom = box
    wide, tall, found = right - left, bottom - top, []
    for foot in range(RULES, int(wide + tall), RULES):  # along x + y = foot
        start, end = max(0.0, foot - tall), min(wide, float(foot))
        if end > start:
            found.append(f"M{left + start:.1f} {top + foot - start:.1f}l{end - start:.1f} {start - end:.1f}")
    return "".join(found)


def _harm(x: float, y: float, grade: int, ink: Ink) -> list[str]:
    """Dots that close to a disc, on a slip of bare paper."""
    slip = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="8" fill="{ink.paper}"/>'
    if grade == 1:
        spots = ((0, 0), (-4, -4), (4, -4), (-4, 4), (4, 4))
        return [slip, *(f'<circle cx="{x + dx:.1f}" cy="{y + dy:.1f}" r="1.6"/>' for dx, dy in spots)]
    if grade == 2:
        return [slip, f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" fill="none" stroke="{ink.ink}" stroke-width="2.4"/>']
    return [slip, f'<circle cx="{x:.1f}" cy="{y:.1f}" r="6.5"/>']
