"""The process window drawn: two knobs across and up, what stays on ruled, harm dotted, bare paper inside both limits.

Between the points of its field a drawing goes along straight lines of the log odds.
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from proofpatch.learn.evidence import Graded
from proofpatch.phrases import chance_words
from proofpatch.pictures.drawing import (
    LINE,
    MIDDLE,
    PAGE,
    WIDE,
    Box,
    Ink,
    glyph,
    spread,
    svg,
    text,
    ticks,
    within,
)
from proofpatch.pictures.field import KNOBS, Field, Points, contour, logit
from proofpatch.pictures.look import NARROW
from proofpatch.pictures.window_names import along, bare_boxes, beads, regions, ring_label
from proofpatch.pictures.window_plot import CLEAR, RING, Plot, runs, unit_of
from proofpatch.pictures.window_words import how_to_read, in_words, readout, table

PITCH, DOT = 9, 10  # px between ruled lines and between dots
HEAVIEST = 4.0  # px, a ruled line where nothing comes off
LEAST_HARM = 0.01  # nothing is dotted below
RUNG = 0.4  # px from one width of line or dot to the next
BESIDE = 22  # px between patches of one place
Piece = tuple[int, int, int]  # where a slanting line begins, and how far right and up it goes [px]


def window_svg(
    field: Field, width: int = WIDE, name: str = "", patches: Sequence[Graded] = (), ink: Ink = PAGE,
    key: str = "window",
) -> str:  # fmt: skip
    """The picture as text, `width` px wide; never to be scaled.

    Args:
        field: of `field_of`.
        width: WIDE or NARROW, or anything as wide as a phone.
        name: of the ringed setting, "aim here first".
        patches: graded ones, each at its own values of the two knobs.
        ink: PAGE inside a page, FILE for a file of its own.
        key: begins the names inside the drawing; another one for every drawing of a page.
    """
    small = width < WIDE
    plot = Plot(field, 48, 34, width - 56, 384 if not small else 265 if width < MIDDLE else 320)
    size = (width, plot.top + plot.height + 48)
    key = f"{key}{width}"
    corners, _ = plot.edge()
    taken: list[Box] = []
    ring = float(plot.x(getattr(field.setting, field.knobs[0]))), float(plot.y(getattr(field.setting, field.knobs[1])))
    taken.append((ring[0] - RING - 4, ring[1] - RING - 4, ring[0] + RING + 4, ring[1] + RING + 4))
    glyphs, where = _glyphs(plot, ring, patches, ink)
    taken += where
    lines = _limits(plot)
    limits, bare = [beads(points) for points, _, _ in lines], bare_boxes(plot)
    label, leader = ring_label(plot, ring, name, taken, [*itertools.chain(*limits), *bare], width, ink)
    slips = [label]
    for n, (points, said, _) in enumerate(lines):
        others = list(itertools.chain(*limits[:n], *limits[n + 1 :]))
        slips.append(along(plot, points, said, taken, others, ink))
    slips += regions(plot, ring, [*taken, *itertools.chain(*limits), *bare], ink)
    parts = [
        f'<clipPath id="{key}"><path d="{_path(corners, True)}"/></clipPath><g clip-path="url(#{key})">',
        _ruled(plot, ink), _dotted(plot, ink), _lines(lines, ink), "</g>", _border(plot, ink), _axes(plot, ink),
        _cross(plot, ring, ink), leader, *glyphs, _ring(ring, ink), *slips,
    ]  # fmt: skip
    more = f' data-plot="{plot.left} {plot.top} {plot.width} {plot.height}"'
    return svg(size, in_words(field, name), parts, ink, more)


def _path(points: Points, closed: bool = False) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) + ("Z" if closed else "")


def _ruled(plot: Plot, ink: Ink) -> str:
    """Slanting lines, the wider the less comes off; cut to pieces of one width each."""
    step, pitch = 4, PITCH * math.sqrt(2)
    rungs: dict[int, list[Piece]] = defaultdict(list)
    x0, y0, x1, y1 = plot.box
    for n in range(math.ceil((x1 - x0 + y1 - y0) / pitch)):
        c = x0 + y0 + (n + 0.5) * pitch  # the line x + y = c
        x = np.arange(max(x0, c - y1) + step / 2, min(x1, c - y0), step)
        p_clean, _, printed = plot.here(x, c - x)
        rung = np.where(printed, np.rint(HEAVIEST * (1 - np.where(printed, p_clean, 1.0)) / RUNG), 0).astype(int)
        for start, end in runs(rung):
            if rung[start]:
                left, long = x[start] - step / 2, step * (end - start)
                rungs[int(rung[start])].append((round(left), round(c - left), long))
    return f'<g fill="none" stroke="{ink.ink}" stroke-opacity=".62">{_stroked(rungs)}</g>'


def _dotted(plot: Plot, ink: Ink) -> str:
    """Staggered dots, the larger the likelier harm is, until they close."""
    x0, y0, x1, y1 = plot.box
    rungs: dict[int, list[Piece]] = defaultdict(list)
    for n, y in enumerate(range(int(y0) + 2, int(y1), DOT // 2)):
        x = np.arange(x0 + 2 + DOT // 2 * (n % 2), x1, DOT)
        _, p_harm, printed = plot.here(x, np.full(x.shape, float(y)))
        # A square of dots 10 px apart and one in its middle closes at 5 px about each.
        wide = 2 * (0.7 + 4.4 * np.sqrt(np.maximum(p_harm, 0.0)))
        for place, rung in zip(x, np.where(printed & (p_harm >= LEAST_HARM), np.rint(wide / RUNG), 0), strict=True):
            if rung:
                rungs[int(rung)].append((round(place), y, 0))
    # A line of no length with round ends is a dot.
    return f'<g fill="none" stroke="{ink.ink}" stroke-linecap="round">{_stroked(rungs)}</g>'


def _stroked(rungs: Mapping[int, Sequence[Piece]]) -> str:
    """One path for all pieces of a width, each piece counted from the end of the last: the steps are few and alike, so
    a page packs to half as many bytes as with places.
    """
    paths = []
    for rung, pieces in sorted(rungs.items()):
        d, at = [], (0, 0)
        for x, y, long in pieces:
            d.append(f"m{x - at[0]} {y - at[1]}" + (f"l{long} {-long}" if long else "h0"))
            at = x + long, y - long
        paths.append(f'<path stroke-width="{RUNG * rung:.1f}" d="{"".join(d)}"/>')
    return "".join(paths)


def _limits(plot: Plot) -> list[tuple[list[Points], str, bool]]:
    """(lines [px], words, dashed) of the job's limits: clean and harm; where the hand changes, of both together."""
    f = plot.field
    clean = logit(f.p_clean) - logit(np.asarray(f.limits.p_clean))
    harm = logit(f.p_harm) - logit(np.asarray(f.limits.p_harm))
    found = [(np.minimum(clean, -harm), "both limits", False)]
    if f.held:
        said = (f"clean {chance_words(f.limits.p_clean)}", f"harm {chance_words(f.limits.p_harm)}")
        found = [(clean, said[0], False), (harm, said[1], True)]
    return [
        ([[(plot.left + plot.width * i / (len(f.across) - 1), plot.top + plot.height * (1 - j / (len(f.up) - 1)))
           for i, j in line] for line in contour(z, 0.0)], said, dashed)
        for z, said, dashed in found
    ]  # fmt: skip


def _lines(lines: list[tuple[list[Points], str, bool]], ink: Ink) -> str:
    """The limits on bare edges, harm's dashed."""
    parts = []
    for points, _, dashed in lines:
        d = "".join(_path(line) for line in points)
        dash = ' stroke-dasharray="8 5"' if dashed else ""
        parts += [
            f'<path d="{d}" stroke="{ink.paper}" stroke-width="6"/>',
            f'<path d="{d}" stroke="{ink.ink}" stroke-width="2.4"{dash}/>',
        ] if d else []  # fmt: skip
    return f'<g fill="none">{"".join(parts)}</g>'


def _border(plot: Plot, ink: Ink) -> str:
    """Dots along where the laser ends: the most energy a pulse can hold."""
    _, cut = plot.edge()
    dots = f'stroke="{ink.ink}" stroke-width="2.4" stroke-linecap="round" stroke-dasharray="0 7"'
    return f'<path d="{_path(cut)}" fill="none" {dots}/>' if len(cut) == 2 else ""


def _axes(plot: Plot, ink: Ink) -> str:
    """Both axes with their ticks, and what they are."""
    f = plot.field
    x0, y0, x1, y1 = plot.box
    (unit_x, one_x), (unit_y, one_y) = (unit_of(knob, v) for knob, v in zip(f.knobs, (f.across, f.up), strict=True))
    across = ticks(f.across[0] / one_x, f.across[-1] / one_x, lambda v: float(plot.x(v * one_x)),
                   lambda v: spread(f"{v:g}", ink) + 16)  # fmt: skip
    up = ticks(f.up[0] / one_y, f.up[-1] / one_y, lambda v: float(plot.y(v * one_y)), lambda v: 1.3 * LINE)
    marks = "".join(f"M{plot.x(v * one_x):.1f} {y1:.0f}v5" for v in across)
    marks += "".join(f"M{x0:.0f} {plot.y(v * one_y):.1f}h-5" for v in up)
    parts = [
        f'<path d="M{x0:.0f} {y0:.0f}V{y1:.0f}H{x1:.0f}{marks}" fill="none" stroke="{ink.ink}" stroke-width="1.2"/>',
        *(text(min(float(plot.x(v * one_x)), x1 - spread(f"{v:g}", ink) / 2), y1 + 20, f"{v:g}", "middle")
          for v in across),
        *(text(x0 - 9, float(plot.y(v * one_y)) + 5, f"{v:g}", "end") for v in up),
        text(0, 15, f"{KNOBS[f.knobs[1]].words}, {unit_y}"),
        text(x1, y1 + 42, f"{KNOBS[f.knobs[0]].words}, {unit_x}", "end"),
    ]  # fmt: skip
    return "".join(parts)


def _cross(plot: Plot, ring: tuple[float, float], ink: Ink) -> str:
    """From the ringed setting to both axes."""
    d = f"M{plot.left} {ring[1]:.1f}H{ring[0]:.1f}V{plot.top + plot.height}"
    return (
        f'<g fill="none"><path d="{d}" stroke="{ink.paper}" stroke-width="5"/>'
        f'<path d="{d}" stroke="{ink.mark}" stroke-width="2.2"/></g>'
    )


def _ring(ring: tuple[float, float], ink: Ink) -> str:
    x, y = ring
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{RING + 3.5}" fill="{ink.paper}"/>'
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{RING}" fill="{ink.paper}" stroke="{ink.mark}" stroke-width="4"/>'
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.8"/>'
    )


def _glyphs(plot: Plot, ring: tuple[float, float], patches: Sequence[Graded], ink: Ink) -> tuple[list[str], list[Box]]:
    """The graded patches at their places, those of one place side by side; and the boxes they take."""
    parts: list[str] = []
    boxes: list[Box] = []
    crowd: list[list[float]] = [[*ring, 0.6]]  # place, and how many patches wide what stands there is
    for one in patches:
        s = one.moved()
        x, y = (float(f(getattr(s, knob))) for f, knob in zip((plot.x, plot.y), plot.field.knobs, strict=True))
        if not within((x, y, x, y), (plot.left - 1, plot.top - 1, plot.box[2] + 1, plot.box[3] + 1)):
            continue
        here = next((c for c in crowd if abs(c[0] - x) < 20 and abs(c[1] - y) < 20), None)
        if here is None:
            here = [x, y, 0.0]
            crowd.append(here)
        step = here[2] * BESIDE if here[0] + here[2] * BESIDE + 12 < plot.box[2] else -here[2] * BESIDE
        here[2] += 1
        x, y = here[0] + step, here[1]
        parts.append(glyph(x, y, one.residue, one.harm, ink))
        boxes.append((x - 11 - CLEAR, y - 11 - CLEAR, x + 11 + CLEAR, y + 11 + CLEAR))
    return parts, boxes


@dataclass(frozen=True)
class Drawn:
    """All a page shows of a field: the picture in three widths, how to read it, other points as table and as JSON."""

    wide: str
    middle: str
    narrow: str
    caption: str
    heads: list[str]
    rows: list[tuple[str, list[tuple[str, str] | None]]]
    points: str


def drawn(field: Field, name: str, patches: Sequence[Graded] = ()) -> Drawn:
    """A field as a page shows it; arguments as of `window_svg`."""
    wide, middle_one, narrow = (window_svg(field, width, name, patches) for width in (WIDE, MIDDLE, NARROW))
    return Drawn(wide, middle_one, narrow, how_to_read(field, len(patches)), *table(field), readout(field))
