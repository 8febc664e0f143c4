"""Forecasts against outcomes over time: a row a stretch of jobs, how much better than a guess by the past it was."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Sequence

from proofpatch.learn.memory.skill import Skill
from proofpatch.pictures.drawing import LINE, PAGE, Ink, spread, svg, text
from proofpatch.pictures.look import NARROW

STEP, TOP = 44, 52  # px from row to row; above the first
LEAST = 0.3  # nats a forecast that the axis reaches at least
MARKS = (1.25, 1.5, 2, 3, 5, 10)  # times the chance, of which the farthest that fits is named on both sides


def skill_svg(periods: Sequence[Skill], width: int, ink: Ink = PAGE) -> str:
    """A dimension line of two standard errors to either side of each gain, its middle marked; a ring where the jobs are
    too few for an error. Right of the upright line forecasts were better than a guess by how often it came so
    before, left of it worse.
    The axis is in nats; its marks say how many times the chance that is."""
    small = width <= NARROW
    left = 16 if small else max(spread(label(one), ink) for one in periods) + 28
    most = max(LEAST, *(abs(one.gain) + 2 * (one.error or 0.0) for one in periods))

    def x(gain: float) -> float:
        return left + (gain / most + 1.0) / 2.0 * (width - 16 - left)

    step = STEP + LINE if small else STEP
    bottom = TOP + step * len(periods)
    parts = [
        f'<path d="M{x(0):.1f} {TOP - 16}V{bottom}" stroke="{ink.ink}" stroke-width="1.2"/>',
        text(x(0) - 10, TOP - 24, "worse", "end", bold=True), text(x(0) + 10, TOP - 24, "better", bold=True),
    ]  # fmt: skip
    for n, one in enumerate(periods):
        y = TOP + step * n + (LINE if small else 0) + STEP / 2 - 4
        parts.append(_named(label(one), y - 14 if small else y + 5, ink))
        parts.append(_row(one, x, y, ink))
    parts += [text(x(gain), bottom + 20, times(gain), "middle") for gain in _marks(most)]
    parts.append(text(width - 8, bottom + 42, "times the chance given to what came", "end"))
    return svg((width, bottom + 50), in_words(periods), parts, ink)


def _named(words: str, y: float, ink: Ink) -> str:
    """Words on a slip of paper, so that no line runs through them."""
    return (f'<rect x="0" y="{y - 15:.0f}" width="{spread(words, ink) + 6:.0f}" height="{LINE}" fill="{ink.paper}"/>'
            + text(0, y, words))  # fmt: skip


def label(one: Skill) -> str:
    """The days of a stretch and its jobs."""
    first, last = (
        datetime.datetime.fromtimestamp(at, datetime.UTC).strftime("%d %b %Y") for at in (one.first, one.last)
    )
    if first == last:
        return f"{first}, {one.jobs} job{'' if one.jobs == 1 else 's'}"
    return f"{first} to {last}, {one.jobs} job{'' if one.jobs == 1 else 's'}"


def in_words(periods: Sequence[Skill]) -> str:
    """The picture in a sentence a row."""
    return " ".join(f"{label(one)}: {times(one.gain)} times the chance{_error(one)}." for one in periods)


def _error(one: Skill) -> str:
    if one.error is None:
        return ", too few to tell"
    return f", {times(one.gain - 2 * one.error)} to {times(one.gain + 2 * one.error)}"


def times(gain: float) -> str:
    """A gain [nats] as how many times the chance it is."""
    return f"{math.exp(gain):.2f}".removesuffix("0").removesuffix(".0")


def _row(one: Skill, x: Callable[[float], float], y: float, ink: Ink) -> str:
    if one.error is None:
        return (f'<circle cx="{x(one.gain):.1f}" cy="{y:.1f}" r="5" fill="{ink.paper}" stroke="{ink.ink}" '
                'stroke-width="1.6"/>')  # fmt: skip
    ends = [x(one.gain - 2 * one.error), x(one.gain + 2 * one.error)]
    ticks = "".join(f"M{end:.1f} {y - 7:.1f}v14" for end in ends)
    return (f'<path d="M{ends[0]:.1f} {y:.1f}H{ends[1]:.1f}{ticks}" stroke="{ink.ink}" stroke-width="1.6" fill="none"/>'
            f'<circle cx="{x(one.gain):.1f}" cy="{y:.1f}" r="5"/>')  # fmt: skip


def _marks(most: float) -> list[float]:
    """The middle of the axis and a round number of times to either side [nats]."""
    end = max(math.log(each) for each in MARKS if math.log(each) <= most)
    return [-end, 0.0, end]
