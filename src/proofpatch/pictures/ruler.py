"""A knob's ruler: the laser's whole range as a line, how far the knob may wander as a heavy one, a triangle at it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from proofpatch.cli_show import KNOB_WORDS, margin_ends, pace_words
from proofpatch.lasers import Laser
from proofpatch.learn.forecast import FASTEST_HAND, SLOWEST_HAND
from proofpatch.phrases import raised
from proofpatch.pictures.drawing import PAGE, Ink, spread, svg, text, ticks
from proofpatch.pictures.field import WEAKEST
from proofpatch.units import parse, show

SMALL, LARGE = 240, 328  # px
HEIGHT = 52
MOST = 0.995  # of the rated power: said to be all of it


@dataclass(frozen=True)
class Reach:
    """A knob on its line: the ends of the line, of the admissible span (None: not worked out), and the setting; SI."""

    name: str
    kind: str
    low: float
    high: float
    span: tuple[float, float] | None
    here: float


def reaches(record: Mapping[str, Any], laser: Laser) -> dict[str, Reach]:
    """The knobs of a recipe's record that have a range, by the record's own keys."""
    head, setting, spans = laser.handpiece, record["setting"], margin_ends(record, laser)
    ends = {
        "average_power_W": (WEAKEST * laser.max_power, laser.max_power),
        "repetition_rate_Hz": (laser.min_rate, laser.max_rate),
        "pulse_width_s": laser.pulse_widths,
        "sweep_width_m": (head.sweep_width_min, head.sweep_width_max),
        "travel_speed_m_s": (SLOWEST_HAND, FASTEST_HAND),
    }
    return {
        key: Reach(*KNOB_WORDS[key], min(low, setting[key]), max(high, setting[key]), spans.get(key), setting[key])
        for key, (low, high) in ends.items()
        if low < high
    }


@dataclass(frozen=True)
class Dial:
    """A knob to dial in as a page shows it: name, what the value means, the value and its unit, its ruler twice.

    What is no knob has no ruler: "".
    """

    name: str
    hint: str
    value: str
    unit: str
    small: str
    large: str


def dials(record: Mapping[str, Any], laser: Laser) -> list[Dial]:
    """The knobs of a recipe's record that the limits leave room for, in the order they are dialled, and the passes."""
    s, found = record["setting"], reaches(record, laser)
    share = s["average_power_W"] / laser.max_power
    hints = {
        "average_power_W": f"{show(share, 'share')} of the laser's most" if share < MOST else "the laser's most",
        "repetition_rate_Hz": f"{show(s['average_power_W'] / s['repetition_rate_Hz'], 'energy')} a pulse",
        "travel_speed_m_s": pace_words(s),
        "sweep_width_m": f"at {show(s['sweep_speed_m_s'], 'speed')} along the line",
    }
    rows = []
    for key, hint in hints.items():
        value, _, unit = show(s[key], KNOB_WORDS[key][1]).partition(" ")
        rulers = [ruler_svg(found[key], width) if key in found else "" for width in (SMALL, LARGE)]
        name = KNOB_WORDS[key][0]
        rows.append(Dial(raised(name), hint, value, unit, *rulers))
    in_turn = "lay them one after another" if s["passes"] > 1 else ""
    return [*rows, Dial("Passes", in_turn, str(s["passes"]), "", "", "")]


def ruler_svg(reach: Reach, width: int = SMALL, ink: Ink = PAGE) -> str:
    """The ruler as text, `width` px wide; never to be scaled."""
    left, right, y = 10.0, width - 10.0, 20

    def x(value: float) -> float:
        return left + (right - left) * math.log(value / reach.low) / math.log(reach.high / reach.low)

    unit = show(math.sqrt(reach.low * reach.high), reach.kind).partition(" ")[2]
    one = parse(f"1 {unit}", reach.kind, reach.kind)
    marks = ticks(reach.low / one, reach.high / one, lambda v: x(v * one), lambda v: spread(f"{v:g}", ink) + 12)
    lines = f"M{left} {y}H{right}" + "".join(f"M{x(v * one):.1f} {y}v5" for v in marks)
    parts = [f'<path d="{lines}" fill="none" stroke="{ink.ink}" stroke-width="1.2"/>']
    if reach.span:
        start, end = (x(value) for value in reach.span)
        parts.append(f'<path d="M{start:.1f} {y}H{end:.1f}" stroke="{ink.ink}" stroke-width="5"/>')
        parts.append(f'<path d="M{start:.1f} {y - 8}v16M{end:.1f} {y - 8}v16" stroke="{ink.ink}" stroke-width="2.4"/>')
    here = x(reach.here)
    parts.append(f'<path d="M{here:.1f} {y - 2}l-8 -14h16Z" fill="{ink.mark}"/>')
    free = float(width)
    for n, value in enumerate(reversed(marks)):  # the last one first: it has the unit
        said = f"{value:g}" if n else f"{value:g}\u2009{unit}"
        half = spread(said, ink) / 2
        place = min(max(x(value * one), half), width - half)
        if place + half <= free:
            parts.append(text(place, y + 24, said, "middle"))
            free = place - half - 6
    return svg((width, HEIGHT), in_words(reach), parts, ink)


def in_words(reach: Reach) -> str:
    """The ruler in a sentence."""
    here, low, high = (show(v, reach.kind) for v in (reach.here, reach.low, reach.high))
    said = f"{raised(reach.name)} {here}, on a line from {low} to {high}"
    if reach.span is None:
        return f"{said}."
    start, end = (show(v, reach.kind) for v in reach.span)
    return (
        f"{said}; no other value was found to hold."
        if start == end
        else f"{said}; the limits hold from {start} to {end}."
    )
