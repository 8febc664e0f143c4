"""Names on a process window: each where it covers least of what it speaks of."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from proofpatch.phrases import chance_words
from proofpatch.pictures.drawing import (
    LINE,
    MIDDLE,
    WIDE,
    Box,
    Ink,
    apart,
    slip,
    slip_box,
    spread,
    within,
)
from proofpatch.pictures.field import KNOBS, Floats, Points, can
from proofpatch.pictures.window_plot import CLEAR, RING, Plot, runs, unit_of

REGION = (0.2, 0.5)  # clean below, harm above: where a region is named
MOSTLY = 0.7  # of a name lies in its region
BEAD = 6  # px, a piece of a line or of bare paper
LEADER = 30  # px from the ring, beyond which a line leads to its name
# What a name of the ring costs: each bead it covers, each arm, each step its line is led over something, each px away.
COVERED, CROSSED, LED, AWAY = 20.0, 12.0, 4.0, 0.6


def beads(lines: list[Points]) -> list[Box]:
    """Boxes along lines."""
    boxes = []
    for line in lines:
        p = np.array(line)
        d = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))])
        s = np.arange(0.0, d[-1] + BEAD, BEAD)
        for x, y in zip(np.interp(s, d, p[:, 0]), np.interp(s, d, p[:, 1]), strict=True):
            boxes.append((x - CLEAR, y - CLEAR, x + CLEAR, y + CLEAR))
    return boxes


def bare_boxes(plot: Plot) -> list[Box]:
    """Boxes over the paper inside both limits, a row of it each."""
    x, y = np.arange(plot.left, plot.box[2], BEAD) + BEAD / 2, np.arange(plot.top, plot.box[3], BEAD) + BEAD / 2
    bare = plot.bare(*np.meshgrid(x, y))
    return [
        (x[start] - BEAD / 2, y[n] - BEAD / 2, x[end - 1] + BEAD / 2, y[n] + BEAD / 2)
        for n, row in enumerate(bare) for start, end in runs(row.astype(int)) if row[start]
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


def ring_label(
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
    title = spread(f"{KNOBS[knob].words}, {unit_of(knob, values)[0]}", ink)
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


def along(plot: Plot, lines: list[Points], words: str, taken: list[Box], others: list[Box], ink: Ink) -> str:
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


def regions(plot: Plot, ring: tuple[float, float], taken: list[Box], ink: Ink) -> list[str]:
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
