"""The process window drawn: two knobs across and up, what stays on ruled, harm dotted, bare paper inside both limits.

Between the points of its field a drawing goes along straight lines of the log odds.
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, special

from proofpatch.learn.evidence import Graded
from proofpatch.pictures.drawing import (
    LINE,
    MIDDLE,
    PAGE,
    WIDE,
    Box,
    Ink,
    apart,
    glyph,
    slip,
    slip_box,
    spread,
    svg,
    text,
    ticks,
    within,
)
from proofpatch.pictures.field import KNOBS, Bools, Field, Floats, Points, between, can, contour, logit
from proofpatch.pictures.look import NARROW
from proofpatch.pictures.window_words import how_to_read, in_words, readout, table
from proofpatch.survey.identify import chance_words
from proofpatch.units import parse, show

PITCH, DOT = 9, 10  # px between ruled lines and between dots
HEAVIEST = 4.0  # px, a ruled line where nothing comes off
LEAST_HARM = 0.01  # nothing is dotted below
RUNG = 0.4  # px from one width of line or dot to the next
REGION = (0.2, 0.5)  # clean below, harm above: where a region is named
MOSTLY = 0.7  # of a name lies in its region
RING = 9
BESIDE = 22  # px between patches of one place
CLEAR = 4  # px a slip keeps from what it may not cover
BEAD = 6  # px, a piece of a line or of bare paper
LEADER = 30  # px from the ring, beyond which a line leads to its name
# What a name of the ring costs: each bead it covers, each arm, each step its line is led over something, each px away.
COVERED, CROSSED, LED, AWAY = 20.0, 12.0, 4.0, 0.6


@dataclass(frozen=True)
class Plot:
    """Where a field lies in its drawing [px]."""

    field: Field
    left: int
    top: int
    width: int
    height: int

    @property
    def box(self) -> Box:
        """Its edges."""
        return self.left, self.top, self.left + self.width, self.top + self.height

    def x(self, value: Any) -> Any:
        """Pixels from the left of a value of the knob across."""
        low, high = self.field.across[0], self.field.across[-1]
        return self.left + self.width * np.log(value / low) / math.log(high / low)

    def y(self, value: Any) -> Any:
        """Pixels from the top of a value of the knob up."""
        low, high = self.field.up[0], self.field.up[-1]
        return self.top + self.height * (1 - np.log(value / low) / math.log(high / low))

    def here(self, x: Any, y: Any) -> tuple[Floats, Floats, Bools]:
        """(P(clean), P(harm), whether something is printed) at pixels, any shape."""
        p_clean, p_harm, on, bare = self._at(x, y)
        return p_clean, p_harm, on & ~bare

    def bare(self, x: Any, y: Any) -> Bools:
        """Whether pixels lie inside both limits, any shape."""
        _, _, on, bare = self._at(x, y)
        return on & bare

    def _at(self, x: Any, y: Any) -> tuple[Floats, Floats, Bools, Bools]:
        """(P(clean), P(harm), whether the laser can, whether both limits are held)."""
        f = self.field
        x, y = np.asarray(x, float), np.asarray(y, float)
        share_x, share_y = (x - self.left) / self.width, 1 - (y - self.top) / self.height
        on = (share_x >= 0) & (share_x <= 1) & (share_y >= 0) & (share_y <= 1)
        value_x = f.across[0] * (f.across[-1] / f.across[0]) ** share_x
        value_y = f.up[0] * (f.up[-1] / f.up[0]) ** share_y
        on &= can(f.laser, f.setting, f.knobs, value_x, value_y)
        at_x, at_y = share_x * (len(f.across) - 1), share_y * (len(f.up) - 1)
        p_clean, p_harm = (special.expit(between(logit(p), at_y, at_x)) for p in (f.p_clean, f.p_harm))
        bare = (p_clean >= f.limits.p_clean) & (p_harm <= f.limits.p_harm)
        return p_clean, p_harm, on & np.isfinite(p_clean), bare

    def edge(self) -> tuple[Points, Points]:
        """(corners of what the laser can do, the line of the most energy a pulse can hold), px."""
        (x0, y0), (x1, y1) = (self.left, self.top), (self.left + self.width, self.top + self.height)
        f = self.field
        corners = [(x0, y1), (x1, y1), (x1, y0), (x0, y0)]

        def room(x: float, y: float) -> float:
            """ln of how much more energy a pulse could hold."""
            value = {
                f.knobs[0]: f.across[0] * (f.across[-1] / f.across[0]) ** ((x - x0) / self.width),
                f.knobs[1]: f.up[0] * (f.up[-1] / f.up[0]) ** (1 - (y - y0) / self.height),
            }
            power, rate = (value.get(k, getattr(f.setting, k)) for k in ("average_power", "repetition_rate"))
            return math.log(rate * f.laser.max_energy(f.setting.pulse_width) / power)

        kept: Points = []
        cut: Points = []
        for a, b in zip(corners, corners[1:] + corners[:1], strict=True):
            ra, rb = room(*a), room(*b)
            kept += [a] if ra >= -1e-9 else []
            if ra * rb < 0:
                share = ra / (ra - rb)
                cut.append((a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])))
                kept.append(cut[-1])
        return kept, cut


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
    limits, bare = [_beads(points) for points, _, _ in lines], _bare(plot)
    label, leader = _ring_label(plot, ring, name, taken, [*itertools.chain(*limits), *bare], width, ink)
    slips = [label]
    for n, (points, said, _) in enumerate(lines):
        others = list(itertools.chain(*limits[:n], *limits[n + 1 :]))
        slips.append(_along(plot, points, said, taken, others, ink))
    slips += _regions(plot, ring, [*taken, *itertools.chain(*limits), *bare], ink)
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
    rungs: dict[int, list[str]] = defaultdict(list)
    x0, y0, x1, y1 = plot.box
    for n in range(math.ceil((x1 - x0 + y1 - y0) / pitch)):
        c = x0 + y0 + (n + 0.5) * pitch  # the line x + y = c
        x = np.arange(max(x0, c - y1) + step / 2, min(x1, c - y0), step)
        p_clean, _, printed = plot.here(x, c - x)
        rung = np.where(printed, np.rint(HEAVIEST * (1 - np.where(printed, p_clean, 1.0)) / RUNG), 0).astype(int)
        for start, end in _runs(rung):
            if rung[start]:
                left, long = x[start] - step / 2, step * (end - start)
                rungs[int(rung[start])].append(f"M{left:.0f} {c - left:.0f}l{long} {-long}")
    paths = (
        f'<path stroke-width="{RUNG * rung:.1f}" d="{"".join(pieces)}"/>' for rung, pieces in sorted(rungs.items())
    )
    return f'<g fill="none" stroke="{ink.ink}" stroke-opacity=".62">{"".join(paths)}</g>'


def _runs(values: NDArray[np.int64]) -> list[tuple[int, int]]:
    """(first, one past last) of each run of equal values."""
    ends = np.flatnonzero(np.diff(values)) + 1
    return list(zip([0, *ends.tolist()], [*ends.tolist(), len(values)], strict=True)) if len(values) else []


def _dotted(plot: Plot, ink: Ink) -> str:
    """Staggered dots, the larger the likelier harm is, until they close."""
    x0, y0, x1, y1 = plot.box
    rungs: dict[int, list[str]] = defaultdict(list)
    for n, y in enumerate(range(int(y0) + 2, int(y1), DOT // 2)):
        x = np.arange(x0 + 2 + DOT // 2 * (n % 2), x1, DOT)
        _, p_harm, printed = plot.here(x, np.full(x.shape, float(y)))
        # A square of dots 10 px apart and one in its middle closes at 5 px about each.
        wide = 2 * (0.7 + 4.4 * np.sqrt(np.maximum(p_harm, 0.0)))
        for place, rung in zip(x, np.where(printed & (p_harm >= LEAST_HARM), np.rint(wide / RUNG), 0), strict=True):
            if rung:
                rungs[int(rung)].append(f"M{place:.0f} {y}h0")
    # A dash of no length with round ends is a dot.
    paths = (f'<path stroke-width="{RUNG * rung:.1f}" d="{"".join(dots)}"/>' for rung, dots in sorted(rungs.items()))
    return f'<g fill="none" stroke="{ink.ink}" stroke-linecap="round">{"".join(paths)}</g>'


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


def _unit(knob: str, values: Floats) -> tuple[str, float]:
    """The unit an axis is in and its size in SI."""
    kind = KNOBS[knob].kind
    unit = show(float(np.sqrt(values[0] * values[-1])), kind).partition(" ")[2]
    return unit, parse(f"1 {unit}", kind, kind)


def _axes(plot: Plot, ink: Ink) -> str:
    """Both axes with their ticks, and what they are."""
    f = plot.field
    x0, y0, x1, y1 = plot.box
    (unit_x, one_x), (unit_y, one_y) = (_unit(knob, v) for knob, v in zip(f.knobs, (f.across, f.up), strict=True))
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


def _beads(lines: list[Points]) -> list[Box]:
    """Boxes along lines."""
    boxes = []
    for line in lines:
        p = np.array(line)
        d = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))])
        s = np.arange(0.0, d[-1] + BEAD, BEAD)
        for x, y in zip(np.interp(s, d, p[:, 0]), np.interp(s, d, p[:, 1]), strict=True):
            boxes.append((x - CLEAR, y - CLEAR, x + CLEAR, y + CLEAR))
    return boxes


def _bare(plot: Plot) -> list[Box]:
    """Boxes over the paper inside both limits, a row of it each."""
    x, y = np.arange(plot.left, plot.box[2], BEAD) + BEAD / 2, np.arange(plot.top, plot.box[3], BEAD) + BEAD / 2
    bare = plot.bare(*np.meshgrid(x, y))
    return [
        (x[start] - BEAD / 2, y[n] - BEAD / 2, x[end - 1] + BEAD / 2, y[n] + BEAD / 2)
        for n, row in enumerate(bare) for start, end in _runs(row.astype(int)) if row[start]
    ]  # fmt: skip


def _touched(places: Floats, boxes: Sequence[Box]) -> NDArray[np.int64]:
    """How many boxes each of the places (n, 4) touches."""
    if not boxes:
        return np.zeros(len(places), int)
    p, b = places[:, None, :], np.array(boxes)
    apart_x = (p[..., 2] <= b[:, 0]) | (b[:, 2] <= p[..., 0])
    apart_y = (p[..., 3] <= b[:, 1]) | (b[:, 3] <= p[..., 1])
    return np.asarray(np.sum(~(apart_x | apart_y), axis=1))


def _led_over(ring: tuple[float, float], places: Floats, boxes: Sequence[Box]) -> NDArray[np.int64]:
    """Over how many steps of its line to the ring each of the places (n, 4) is led across boxes."""
    near = np.stack([np.clip(ring[0], places[:, 0], places[:, 2]), np.clip(ring[1], places[:, 1], places[:, 3])], -1)
    share = np.linspace(0.0, 1.0, 12)[:, None, None]
    steps = np.asarray(ring) + share * (near - ring)
    return sum((_touched(np.concatenate([at - 1, at + 1], axis=1), boxes) for at in steps), np.zeros(len(places), int))


def _ring_label(
    plot: Plot, ring: tuple[float, float], name: str, taken: list[Box], clear: Sequence[Box], width: int, ink: Ink
) -> tuple[str, str]:
    """The name of the ringed setting, with its two chances where there is room, near it; and a line to it where far.

    It covers nothing of `taken`, and of `clear`, the limits and the paper inside them, as little as can be.
    """
    clean, harm = (chance_words(p) for p in plot.field.chosen)
    head = [name] if name else []
    forms = [[*head, f"clean {clean}, harm {harm}"], [*head, f"clean {clean},", f"harm {harm}"]][width < WIDE :]
    forms = [head] if name and width < MIDDLE else [*forms, [f"{name}: clean {clean}, harm {harm}"]] if name else forms
    knob, values = plot.field.knobs[1], plot.field.up
    title = spread(f"{KNOBS[knob].words}, {_unit(knob, values)[0]}", ink)
    (x, y), (left, top, right, bottom) = ring, plot.box
    arms = [(left, y - 4, x, y + 4), (x - 4, y, x + 4, bottom)]
    best: tuple[float, tuple[float, float], list[str], int] | None = None
    for n, lines in enumerate(forms):
        bold = int(lines[:1] == head)
        start = slip_box(0.0, 0.0, lines, bold, ink)
        wide, tall = start[2] - start[0], start[3] - start[1]
        beside = [x + RING + 9, x - RING - 9 - wide]
        across = np.array([*beside, *np.arange(left + 1, right + 4 - wide, 12)])
        down = np.array([y - tall / 2, y - RING - 5 - tall, *np.arange(top - 4, bottom - tall, 8)])
        corner = np.stack(np.meshgrid(across, down), axis=-1).reshape(-1, 2)
        places = np.concatenate([corner, corner + np.array([wide, tall])], axis=1)
        away = np.hypot(np.maximum(0, np.maximum(places[:, 0] - x, x - places[:, 2])),
                        np.maximum(0, np.maximum(places[:, 1] - y, y - places[:, 3])))  # fmt: skip
        cost = AWAY * (away + 8 * n) + COVERED * _touched(places, clear) + CROSSED * _touched(places, arms)
        cost += 1e4 * _touched(places, taken) + LED * _led_over(ring, places, taken[1:])
        # Over the plot there is room beside the words of the axis.
        over = np.where(places[:, 0] > title + 10, 0, top - 4)
        out = (places[:, 0] < left) | (places[:, 2] > right + 4) | (places[:, 1] < over) | (places[:, 3] > bottom)
        cost += 1e6 * out
        k = int(np.argmin(cost))
        if best is None or cost[k] < best[0]:
            best = float(cost[k]), (corner[k, 0] - start[0], corner[k, 1] - start[1]), lines, bold
    assert best is not None
    _, place, lines, bold = best
    box = slip_box(*place, lines, bold, ink)
    taken.append((box[0] - CLEAR, box[1] - CLEAR, box[2] + CLEAR, box[3] + CLEAR))
    near = min(max(x, box[0]), box[2]), min(max(y, box[1]), box[3])
    line = f"M{x:.1f} {y:.1f}L{near[0]:.1f} {near[1]:.1f}"
    leader = (
        f'<path d="{line}" stroke="{ink.paper}" stroke-width="4" fill="none"/>'
        f'<path d="{line}" stroke="{ink.ink}" stroke-width="1.2" fill="none"/>'
    )
    return slip(*place, lines, bold, ink), leader if math.dist(near, ring) > LEADER else ""


def _along(plot: Plot, lines: list[Points], words: str, taken: list[Box], others: list[Box], ink: Ink) -> str:
    """A label along a line where it runs straight enough and nothing else stands, or at the line's end; off others."""
    long = spread(words, ink) + 12
    room = (plot.left + 1, plot.top + 1, plot.box[2] - 1, plot.box[3] - 1)
    best: tuple[float, float, float, float] | None = None
    for line in lines:
        p = np.array(line)
        d = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))])
        for start in np.arange(0.0, d[-1] - long, 8.0):
            s = np.linspace(start, start + long, 9)
            x, y = np.interp(s, d, p[:, 0]), np.interp(s, d, p[:, 1])
            angle = math.atan2(y[-1] - y[0], x[-1] - x[0])
            off = np.abs((x - x[0]) * math.sin(angle) - (y - y[0]) * math.cos(angle)).max()
            angle = math.remainder(angle, math.pi)
            half = long / 2 * abs(math.cos(angle)) + 9 * abs(math.sin(angle))
            high = long / 2 * abs(math.sin(angle)) + 9 * abs(math.cos(angle))
            mx, my = float(x.mean()), float(y.mean())
            box = (mx - half, my - high, mx + half, my + high)
            bent = float(off + 6 * abs(angle))  # flat ones read best
            free = off < 6 and within(box, room) and apart(box, [*taken, *others]) and _inside(plot, x, y)
            if free and (best is None or bent < best[0]):
                best = (bent, mx, my, angle)
    if best is not None:
        _, x, y, angle = best
        half = long / 2 * abs(math.cos(angle)) + 9 * abs(math.sin(angle))
        high = long / 2 * abs(math.sin(angle)) + 9 * abs(math.cos(angle))
        taken.append((x - half, y - high, x + half, y + high))
        turned = f'<g transform="translate({x:.1f} {y:.1f}) rotate({math.degrees(angle):.1f})">'
        return f"{turned}{slip(6 - long / 2, 0, [words], 0, ink)}</g>"
    ends = [end for line in sorted(lines, key=len, reverse=True) for end in (line[0], line[-1], line[len(line) // 2])]
    for x, y in ends:
        for dx, dy in ((12, -14), (-long, -14), (12, 14), (-long, 14), (12, 0), (-long, 0)):
            box = slip_box(x + dx, y + dy, [words], 0, ink)
            corners = np.array([x, box[0], box[0]]), np.array([y, box[1], box[3]])
            if within(box, room) and apart(box, [*taken, *others]) and _inside(plot, *corners):
                taken.append(box)
                return slip(x + dx, y + dy, [words], 0, ink)
    return ""


def _inside(plot: Plot, x: Floats, y: Floats) -> bool:
    """True if the laser can do all of these pixels."""
    f = plot.field
    value_x = f.across[0] * (f.across[-1] / f.across[0]) ** ((x - plot.left) / plot.width)
    value_y = f.up[0] * (f.up[-1] / f.up[0]) ** (1 - (y - plot.top) / plot.height)
    return bool(can(f.laser, f.setting, f.knobs, value_x, value_y).all())


def _regions(plot: Plot, ring: tuple[float, float], taken: list[Box], ink: Ink) -> list[str]:
    """What stays on and what is harmed, each named in the middle of where it is so, if it is anywhere."""
    f, cell = plot.field, 6
    x, y = np.arange(plot.left + 3, plot.box[2], cell), np.arange(plot.top + 3, plot.box[3], cell)
    p_clean, p_harm, printed = plot.here(*np.meshgrid(x, y))
    left, _, _, bottom = plot.box
    arms = [(left, ring[1] - 3, ring[0], ring[1] + 3), (ring[0] - 3, ring[1], ring[0] + 3, bottom)]
    parts = []
    for region, words in (
        (printed & (p_clean < REGION[0]), f"{f.coating} stays on"), (printed & (p_harm > REGION[1]), f.harm),
    ):  # fmt: skip
        bare = np.ones(region.shape, bool)
        for box in (*taken, *arms):
            bare[np.ix_((y > box[1] - 4) & (y < box[3] + 4), (x > box[0] - 4) & (x < box[2] + 4))] = False
        wide = spread(words, ink, True) + 10
        size = (LINE // cell + 1, int(wide) // cell + 2)
        room = ndimage.minimum_filter(bare, size, mode="constant", cval=0)
        room &= ndimage.uniform_filter(region.astype(float), size, mode="constant") > MOSTLY
        if not room.any():
            continue
        middle_of = ndimage.distance_transform_edt(np.pad(bare & region, 1))[1:-1, 1:-1]
        j, i = np.unravel_index(int(np.argmax(np.where(room, middle_of, -1.0))), room.shape)
        place = (float(x[i] - wide / 2 + 5), float(y[j]))
        taken.append(slip_box(*place, [words], 1, ink))
        parts.append(slip(*place, [words], 1, ink))
    return parts


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
