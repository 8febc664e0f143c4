"""Where the dose of one pass falls, for a page: a map over its profile, the same scales for every setting.

More ink is more dose. The map is a mask over the ink colour, and every colour is the page's own, so one drawing serves
light and dark. It is 328 px wide and never scaled.
"""

from __future__ import annotations

import base64
import html
import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from proofpatch.bench import Side
from proofpatch.pictures.bench import UNEVEN, dose_lines, tallest
from proofpatch.pictures.look import INK, NARROW, PAPER, TEXT
from proofpatch.pictures.marks import LETTER, Frame, Line, beyond
from proofpatch.units import show

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]  # left, top, right, bottom [px]

# The page's own colours; alone in a file those of print.
ON_INK, ON_PAPER = f"var(--ink, {INK})", f"var(--paper, {PAPER})"
MARGIN = 10  # px left and right of the widest map
PROFILE, ABOVE, BELOW = 160, 20, 40  # px: the profile's height, the gap over it, the room for the sweep under it
LEAST, MOST = 40, 150  # px, height of a map: a lower one is stretched, a higher one cut
FULL, LOOKED_AT = 99.5, 100  # % of the map, from the dose there on all is ink; rows enough to tell
FINGER = 5  # px, half an end tick
# What a label costs for each px of curve under it, each level, other words, each px outside, each place it likes less.
ON_CURVE, ON_LINE, ON_WORDS, OUTSIDE, LATER = 1.0, 60.0, 500.0, 50.0, 15.0


@dataclass(frozen=True)
class Drawing:
    """One setting's picture, the same in words, and what does not fit on it, a sentence each."""

    svg: str
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Scale:
    """What all settings of a page share: px to a metre, the dose of full ink [J/m²], the profile's frame [J/cm²]."""

    per_metre: float
    dark: float
    frame: Frame
    tall: int


def scale_of(sides: Sequence[Side]) -> Scale:
    """The scale on which all of these fit."""
    widest = max(side.grid.columns * side.grid.pixel for side in sides)
    per_metre = (NARROW - 2 * MARGIN) / widest
    # The highest half percent is full ink, or the little there is where hardly anything is hit.
    some = [side.map[:: side.grid.rows // LOOKED_AT + 1] for side in sides]
    dark = max(float(np.percentile(part, FULL)) or float(part.max()) or 1.0 for part in some)
    top = max(tallest(float(side.profile.max()) / 1e4, dose_lines(side)) for side in sides)
    tall = max(_height(side, per_metre)[0] for side in sides)
    return Scale(per_metre, dark, Frame(PROFILE, 0.0, NARROW, top), tall)


def dose_drawings(sides: Sequence[Side]) -> list[Drawing]:
    """Each setting's map over its profile; side by side they compare at a glance."""
    scale = scale_of(sides)
    return [_drawn(side, letter, scale) for side, letter in zip(sides, "AB", strict=False)]


def _height(side: Side, per_metre: float) -> tuple[int, float]:
    """(px of the map's height, by how much it is stretched)."""
    true = side.grid.rows * side.grid.pixel * per_metre
    return round(min(max(true, LEAST), MOST)), max(LEAST / true, 1.0)


def _rows(side: Side, per_metre: float) -> int:
    """How many rows of a map are drawn."""
    return max(1, min(side.grid.rows, round(MOST / (side.grid.pixel * per_metre))))


def _drawn(side: Side, letter: str, scale: Scale) -> Drawing:
    height, stretch = _height(side, scale.per_metre)
    base = scale.tall + ABOVE + PROFILE
    lines, r = dose_lines(side), side.record
    notes = [*beyond(scale.frame, lines)]
    if r.get("dose_to_clean_J_m2") and r["dose_to_clean_J_m2"]["p50"] is None:
        notes.append("No dose of such pulses cleans, in the middle of the belief.")
    if pulses_show(smooth(side), scale.frame):
        notes.append("Pale: from pulse to pulse.")
    if 0.9 * side.grid.rows > _rows(side, scale.per_metre):
        notes.append(f"The map shows {show(_rows(side, scale.per_metre) * side.grid.pixel, 'length')} of the way.")
    if stretch > 1.05:
        notes.append(f"The map is stretched {stretch:.2g} times along the hand's way.")
    says = (
        f"{letter}: {show(r['dose_middle_J_m2'], 'fluence')} in the middle of the line, "
        f"{show(r['dose_edge_J_m2'], 'fluence')} near its ends"
        + "".join(f"; {'dashed' if line.harm else 'solid'}: {line.words}" for line in lines)
    )
    parts = [*_map(side, letter, scale, height), *_profile(side, scale, lines), *_sweep(side, scale, base)]
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{NARROW}" height="{base + BELOW}" viewBox="0 0 {NARROW} '
        f'{base + BELOW}" role="img" aria-label="{html.escape(says)}" font-size="{TEXT}" fill="{ON_INK}">'
        + "".join(parts) + "</svg>"
    )  # fmt: skip
    return Drawing(svg, tuple(notes))


def _map(side: Side, letter: str, scale: Scale, height: int) -> list[str]:
    """The map at the foot of the room that all maps have; drawn of a higher one: its middle."""
    wide = side.grid.columns * side.grid.pixel * scale.per_metre
    rows = _rows(side, scale.per_metre)
    first = (side.grid.rows - rows) // 2
    ink = np.clip(side.map[first : first + rows][::-1] * (255.0 / scale.dark), 0, 255).astype(np.uint8)
    image = Image.fromarray(ink, "L").resize((max(round(wide), 1), height), Image.Resampling.BOX)
    file = io.BytesIO()
    image.save(file, "PNG", compress_level=3)
    box = f'x="{(NARROW - wide) / 2:.1f}" y="{scale.tall - height}" width="{wide:.1f}" height="{height}"'
    return [
        f'<mask id="dose-{letter}" maskUnits="userSpaceOnUse" {box}><image {box} preserveAspectRatio="none" '
        f'href="data:image/png;base64,{base64.b64encode(file.getvalue()).decode()}"/></mask>',
        f'<rect {box} mask="url(#dose-{letter})"/>',
    ]


def _profile(side: Side, scale: Scale, lines: Sequence[Line]) -> list[str]:
    """The curve over its base line, the levels of the surface, edge and middle named on it."""
    down, frame, r = scale.tall + ABOVE, scale.frame, side.record

    def height(dose: Any) -> Any:
        return down + PROFILE * (1 - dose / 1e4 / frame.top)

    x, shapes = NARROW / 2 + side.across * scale.per_metre, smooth(side)
    low, mean, high = (height(shape) for shape in shapes)
    inside = [line for line in lines if line.middle <= frame.top]
    levels = [down + frame.y_of(line.middle) for line in inside]
    parts = [f'<path d="M0 {down + PROFILE}H{NARROW}" stroke="{ON_INK}" stroke-width="1.2"/>']
    parts += [part for line in inside for part in _level(line, frame, down)]
    curve = [
        f'<polyline points="{_points(x, mean)}" fill="none" stroke="{ON_INK}" stroke-width="2.4" '
        'stroke-linejoin="round"/>'
    ]
    if pulses_show(shapes, frame):
        curve.insert(0, f'<polygon points="{_points(x, high)} {_points(x[::-1], low[::-1])}" opacity="0.25"/>')
    edge, middle = (show(r[f"dose_{name}_J_m2"], "fluence") for name in ("edge", "middle"))
    top, plateau = float(height(r["dose_edge_J_m2"])), float(height(r["dose_middle_J_m2"]))
    start = NARROW / 2 - side.setting.sweep_width * scale.per_metre / 2
    beside = [(start + 9, top + n) for n in (12, 32, 52)] + [(start - 4, top + n) for n in (-8, -28, -48)]
    labels = [
        _Label(f"edge {edge}", "start", beside, True),
        _Label(f"{middle} in the middle", "middle", [(NARROW / 2, plateau + n) for n in (22, -10, -30, -50, 42)], True),
    ]
    for line, at in zip(inside, levels, strict=True):
        place, anchor = (NARROW - 16, "end") if line.harm else (16, "start")
        labels.append(_Label(line.words, anchor, [(place, at + n) for n in (-8, 20, -28, 40, 60)]))
    room = _Room(_columns(x, np.minimum(mean, high), np.maximum(mean, low)), levels, down)
    places = placed(labels, room)
    words = [_text(*place, label.words, label.anchor, label.bold) for label, place in zip(labels, places, strict=True)]
    return [*parts, *curve, *words]


def smooth(side: Side) -> tuple[Floats, Floats, Floats]:
    """(lowest, mean, highest) dose from one pulse to the next along the line [J/m²]."""
    wide = min(max(round(side.record["pulse_pitch_m"] / side.grid.pixel), 1), side.profile.size // 8)
    return (
        ndimage.minimum_filter1d(side.profile, wide), ndimage.uniform_filter1d(side.profile, wide),
        ndimage.maximum_filter1d(side.profile, wide),
    )  # fmt: skip


def pulses_show(shapes: tuple[Floats, Floats, Floats], frame: Frame) -> bool:
    """True if the dose moves from pulse to pulse by more than is not seen."""
    low, _, high = shapes
    return bool(np.median(high - low) > UNEVEN * frame.top * 1e4)


def _level(line: Line, frame: Frame, down: float) -> list[str]:
    """A level across the profile; an upright mark at its end reaches over the middle 90 % of the belief."""
    at = down + frame.y_of(line.middle)
    low, high = (down + min(max(frame.y_of(value), 0.0), PROFILE) for value in (line.low, line.high))
    x = NARROW - FINGER - 1 if line.harm else FINGER + 1
    ends = "".join(
        f"M{x - FINGER} {end:.1f}h{2 * FINGER}"
        for end, value in ((low, line.low), (high, line.high))
        if value <= frame.top
    )
    dash = ' stroke-dasharray="7 5"' if line.harm else ""
    return [
        f'<path d="M0 {at:.1f}H{NARROW}" stroke="{ON_INK}" stroke-width="1.5"{dash}/>',
        f'<path d="M{x} {low:.1f}V{high:.1f}{ends}" stroke="{ON_INK}" stroke-width="1.2" fill="none"/>',
    ]


def _sweep(side: Side, scale: Scale, base: float) -> list[str]:
    """The sweep width as a dimension line under the profile."""
    half, y = side.setting.sweep_width * scale.per_metre / 2, base + 24
    left, right, words = NARROW / 2 - half, NARROW / 2 + half, f"sweep {show(side.setting.sweep_width, 'length')}"
    line = f"M{left:.1f} {y - FINGER}v{2 * FINGER}M{left:.1f} {y}H{right:.1f}M{right:.1f} {y - FINGER}v{2 * FINGER}"
    place, anchor = (NARROW / 2, "middle") if _wide(words) + 24 < 2 * half else (right + 10, "start")
    left, top, right, foot = _box(words, place, y + 5, anchor)
    slip = f'<rect x="{left:.1f}" y="{top}" width="{right - left:.1f}" height="{foot - top}" fill="{ON_PAPER}"/>'
    return [f'<path d="{line}" stroke="{ON_INK}" stroke-width="1.2" fill="none"/>', slip,
            _text(place, y + 5, words, anchor)]  # fmt: skip


@dataclass(frozen=True)
class _Label:
    """Words and where their base line may begin, have its middle or end; the first place is the best."""

    words: str
    anchor: str
    places: Sequence[tuple[float, float]]
    bold: bool = False


@dataclass(frozen=True)
class _Room:
    """Where words may stand. curve: (highest, lowest) place of it in each column of px; levels: heights of lines."""

    curve: tuple[Floats, Floats]
    levels: Sequence[float]
    top: float

    def cost(self, box: Box) -> float:
        """How badly words stand there: on the curve, on a line or outside."""
        left, top, right, foot = box
        here = slice(max(int(left), 0), max(int(right), 0) + 1)
        on_curve = np.sum((self.curve[0][here] < foot + 2) & (self.curve[1][here] > top - 2))
        outside = max(-left, 0.0) + max(right - NARROW, 0.0) + max(self.top - 18 - top, 0.0)
        outside += max(foot - self.top - PROFILE, 0.0)
        return ON_CURVE * float(on_curve) + ON_LINE * sum(top < y < foot for y in self.levels) + OUTSIDE * outside


def placed(labels: Sequence[_Label], room: _Room) -> list[tuple[float, float]]:
    """The best place of each label, all choices of all tried together."""
    boxes = [[_box(label.words, *place, label.anchor) for place in label.places] for label in labels]
    total = np.zeros([len(one) for one in boxes])

    def along(costs: Floats, *axes: int) -> Floats:
        return costs.reshape([len(one) if n in axes else 1 for n, one in enumerate(boxes)])

    for n, mine in enumerate(boxes):
        total = total + along(np.array([room.cost(box) + LATER * k for k, box in enumerate(mine)]), n)
        for m, other in enumerate(boxes[:n]):
            total = total + along(ON_WORDS * np.array([[_meet(a, b) for b in mine] for a in other]), m, n)
    best = np.unravel_index(int(np.argmin(total)), total.shape)
    return [label.places[int(k)] for label, k in zip(labels, best, strict=True)]


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _columns(x: Floats, high: Floats, low: Floats) -> tuple[Floats, Floats]:
    """(highest, lowest) place of the curve in each column of px; where it is not, beyond reach."""
    column = np.clip(x.astype(int), 0, NARROW - 1)
    top, foot = np.full(NARROW, np.inf), np.full(NARROW, -np.inf)
    # From one point to the next the curve passes all that lies between.
    np.minimum.at(top, column[1:], np.minimum(high[1:], high[:-1]))
    np.maximum.at(foot, column[1:], np.maximum(low[1:], low[:-1]))
    return top, foot


def _points(x: Floats, y: Floats) -> str:
    return " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))


def _wide(words: str) -> float:
    return LETTER * TEXT * len(words)


def _box(words: str, x: float, y: float, anchor: str) -> Box:
    """What words take whose base line is at y."""
    left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * _wide(words)
    return left - 4, y - TEXT, left + _wide(words) + 4, y + 5


def _text(x: float, y: float, words: str, anchor: str, bold: bool = False) -> str:
    halo = f' stroke="{ON_PAPER}" stroke-width="5" stroke-linejoin="round" paint-order="stroke"'
    more = halo + (' font-weight="600"' if bold else "") + (f' text-anchor="{anchor}"' if anchor != "start" else "")
    return f'<text x="{x:.1f}" y="{y:.1f}"{more}>{html.escape(words)}</text>'
