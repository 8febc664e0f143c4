"""The few marks every chart is made of: a curve, a label on a slip of paper, a level with its doubt, lines of words.

Meaning is carried by shape: the coating's levels are solid with ruled doubt, harm's are dashed with dotted doubt, as on
every sheet of ours, so a print in black says as much as the screen.
"""

from __future__ import annotations

import itertools
import math
import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from proofpatch.pictures.look import INK, NARROW, PAPER, SOFT, SPEAKS, TEXT, WORDS, config

Spec = dict[str, Any]
AXIS = 66  # px left of a plot
PLOT = NARROW - AXIS - 8  # px, width of a plot
RULED, DOTTED = 7, 6  # px between hatch lines and between dots
STRIP = 40  # px, how wide a level's doubt is drawn: the coating's at the left, harm's at the right
BUSY, OUTSIDE = 60.0, 300.0  # px a label would rather be away from its line than on the curve, or out of the chart
PARAGRAPH = 0.4  # lines between two paragraphs
LETTER = 0.57  # of the font size: mean width of a letter, for widths of slips and lines


@dataclass(frozen=True)
class Frame:
    """The plane of one chart: its size in px and the ends of both axes."""

    height: int
    left: float
    right: float
    top: float

    def y_of(self, y: float) -> float:
        """Pixels below the top of the plot."""
        return self.height * (1 - y / self.top)

    def value(self, pixel: float) -> float:
        """The value that many pixels below the top."""
        return self.top * (1 - pixel / self.height)

    def x_at(self, pixel: float) -> float:
        """The abscissa that many pixels from the left."""
        return self.left + (self.right - self.left) * pixel / PLOT


def _xy(frame: Frame, x_axis: Spec | None = None, y_axis: Spec | None = None) -> Spec:
    """Encoding on the frame's own scales."""
    x: Spec = {"field": "x", "type": "quantitative", "scale": {"domain": [frame.left, frame.right], "nice": False}}
    y: Spec = {"field": "y", "type": "quantitative", "scale": {"domain": [0, frame.top], "nice": False}}
    return {"x": x | ({"axis": x_axis} if x_axis else {}), "y": y | ({"axis": y_axis} if y_axis else {})}


def label(frame: Frame, x: float, y: float, words: str, **more: Any) -> list[Spec]:
    """Words at a place, on a slip of bare paper."""
    mark = {"type": "text", "align": "left", "baseline": "middle", "text": words} | more
    data = {"values": [{"x": x, "y": y}]}
    slip = {"stroke": PAPER, "strokeWidth": 5, "strokeJoin": "round", "fill": PAPER}
    return [{"data": data, "mark": mark | part, "encoding": _xy(frame)} for part in (slip, {})]


def curve(frame: Frame, x: Any, y: Any, x_axis: Spec, y_axis: Spec) -> Spec:
    """A line through points."""
    values = [{"x": float(f"{a:.5g}"), "y": float(f"{b:.5g}")} for a, b in zip(x, y, strict=True)]
    return {"data": {"values": values}, "mark": {"type": "line", "clip": True}, "encoding": _xy(frame, x_axis, y_axis)}


def area(frame: Frame, x: Any, low: Any, high: Any) -> Spec:
    """A pale band between two curves."""
    values = [
        {"x": float(f"{a:.5g}"), "y": float(f"{b:.5g}"), "y2": float(f"{c:.5g}")}
        for a, b, c in zip(x, low, high, strict=True)
    ]
    mark = {"type": "area", "fill": INK, "opacity": 0.25, "clip": True}
    return {"data": {"values": values}, "mark": mark, "encoding": _xy(frame) | {"y2": {"field": "y2"}}}


def _ruled(frame: Frame, upper: float, lower: float) -> Spec:
    """Slanting hairlines between two heights [px]."""
    tall, rows = lower - upper, []
    for foot in np.arange(-tall + RULED / 2, STRIP, RULED):
        start, end = max(foot, 0.0), min(foot + tall, STRIP)
        rows.append({
            "x": frame.x_at(start), "y": frame.value(lower - (start - foot)),
            "x2": frame.x_at(end), "y2": frame.value(lower - (end - foot)),
        })  # fmt: skip
    encoding = _xy(frame) | {"x2": {"field": "x2"}, "y2": {"field": "y2"}}
    return {
        "data": {"values": rows}, "mark": {"type": "rule", "strokeWidth": 0.8, "opacity": 0.75}, "encoding": encoding
    }  # fmt: skip


def _dotted(frame: Frame, upper: float, lower: float) -> Spec:
    """Staggered dots between two heights [px]."""
    rows = [
        {"x": frame.x_at(PLOT - STRIP + 2 + DOTTED / 2 * (n % 2)), "x2": frame.right, "y": frame.value(float(y))}
        for n, y in enumerate(np.arange(upper + 2, max(lower - 1, upper + 3), DOTTED / 2))
    ]
    # A dash of no length with round ends is a dot: a row of them is one element of the drawing.
    mark = {"type": "rule", "strokeWidth": 2, "strokeCap": "round", "strokeDash": [0.01, DOTTED], "opacity": 0.8}
    return {"data": {"values": rows}, "mark": mark, "encoding": _xy(frame) | {"x2": {"field": "x2"}}}


@dataclass(frozen=True)
class Line:
    """A level to draw: where (axis units), the ends of its middle 90 %, its words, and whether it is harm's."""

    words: str
    low: float
    middle: float
    high: float
    harm: bool


def levels(
    frame: Frame, lines: Sequence[Line], busy: tuple[float, float] | None = None
) -> tuple[list[Spec], list[Spec]]:
    """(what lies under the curve, what lies on it) for levels that fit the frame.

    The coating's labels stand at the left, harm's at the right (a second one at the left), off the `busy` span of
    heights [axis units], where the curve is.
    """
    under: list[Spec] = []
    over: list[Spec] = []
    for line in lines:
        upper, lower = max(frame.y_of(line.high), 0.0), min(frame.y_of(line.low), frame.height)
        if lower - upper >= 3:
            under.append((_dotted if line.harm else _ruled)(frame, upper, lower))
    inside = sorted((line for line in lines if line.middle <= frame.top), key=lambda line: line.middle)
    for n, (line, pixel) in enumerate(zip(inside, _places(frame, inside, busy), strict=True)):
        mark = {"type": "rule", "strokeWidth": 1.8} | ({"strokeDash": [6, 4]} if line.harm else {})
        encoding = {"y": _xy(frame)["y"]}
        under.append({"data": {"values": [{"y": line.middle}]}, "mark": mark, "encoding": encoding})
        right = line.harm and not any(other.harm for other in inside[n + 1 :])
        x, side = (frame.right, "right") if right else (frame.left, "left")
        over += label(frame, x, frame.value(pixel), line.words, align=side, dx=-3 if right else 4)
    return under, over


def _places(frame: Frame, lines: Sequence[Line], busy: tuple[float, float] | None) -> tuple[float, ...]:
    """How far below the top the middle of each label stands [px]: near its line, off the others and off the curve."""
    at = [frame.y_of(line.middle) for line in lines]
    off = 0.8 * TEXT
    low, high = sorted(frame.y_of(y) for y in busy) if busy else (-math.inf, -math.inf)
    steps = (-off, off, -off - 1.3 * TEXT, off + 1.3 * TEXT)
    choices = [[*(y + step for step in steps), *([low - off, high + off] if busy else [])] for y in at]

    def cost(places: tuple[float, ...]) -> float:
        total = 0.0
        for n, place in enumerate(places):
            total += abs(place - at[n])
            total += OUTSIDE * (place < TEXT / 2 or place > frame.height - TEXT / 2)
            total += BUSY * (low - TEXT / 2 < place < high + TEXT / 2)
            total += 2 * BUSY * sum(abs(place - y) < 0.7 * TEXT for y in at)
            total += OUTSIDE * sum(abs(place - other) < 1.2 * TEXT for other in places[:n])
        return total

    return min(itertools.product(*choices), key=cost)


def beyond(frame: Frame, lines: Sequence[Line]) -> list[str]:
    """Sentences for the levels that lie above the frame."""
    return [f"Beyond this chart: {line.words}." for line in lines if line.middle > frame.top]


def framed(title: str, frame: Frame, layers: list[Spec], notes: str = "", below: Spec | None = None) -> Spec:
    """A chart under its heading, another one below it, and its notes."""
    chart = {
        "title": {"text": cut(title, WORDS * TEXT // 20), "frame": "group", "dx": -AXIS},
        "width": PLOT, "height": frame.height, "layer": layers,
    }  # fmt: skip
    parts = [chart, *([below] if below else []), *([words([notes], colour=SOFT)] if notes else [])]
    return {"vconcat": parts, "spacing": 10}


def words(
    lines: Sequence[str], size: int = TEXT, colour: str = INK, weight: str = "normal", width: int = NARROW
) -> Spec:
    """Paragraphs as a chart of their own."""
    step, rows, down = size * 1.45, [], 0.0
    for line in lines:
        for part in cut(line, int(width / (size * LETTER))):
            rows.append({"y": down, "words": part})
            down += step
        down += PARAGRAPH * step
    return {
        "width": width - AXIS - 8, "height": max(down - PARAGRAPH * step, step), "data": {"values": rows},
        "mark": {"type": "text", "align": "left", "baseline": "top", "fontSize": size, "fill": colour,
                 "fontWeight": weight, "font": SPEAKS if weight != "normal" else config()["font"]},
        "encoding": {
            "text": {"field": "words", "type": "nominal"}, "x": {"value": -AXIS},
            "y": {"field": "y", "type": "quantitative", "axis": None, "scale": None},
        },
    }  # fmt: skip


def cut(line: str, width: int) -> list[str]:
    """A line cut to pieces, never between a figure and its unit."""
    kept = re.sub(r"(?<=[0-9]) (?=[a-zA-Zµ%°])", "\u00a0", line)
    kept = kept.replace("in 100", "in\u00a0100")
    return textwrap.wrap(kept, width, break_long_words=True) or [""]
