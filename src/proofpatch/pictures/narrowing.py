"""How the belief narrowed, patch by patch: what cleans above, what harms below, and the gap between them when it opens.

The levels are those of `bench_levels.levels`, all at one setting: doses of one pass, reached by another hand speed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from proofpatch.learn.evidence import Graded
from proofpatch.learn.recipe import same
from proofpatch.phrases import raised
from proofpatch.physics.setting import Setting
from proofpatch.physics.sweep import mean_dose
from proofpatch.pictures.drawing import LINE, PAGE, WIDE, Ink, glyph, spread, svg, text, ticks
from proofpatch.units import show

Level = dict[str, float | None]
MOST = 8  # patches drawn; of more the first and the last ones
BAR, ROW = 9, 44  # px
PITCH = 5  # px between the lines of a bar
CLEAN, HARM = "dose_to_clean_J_m2", "dose_to_tint_J_m2"


@dataclass(frozen=True)
class Row:
    """The belief after so many patches.

    label: "before any patch", "after A1". clean, harm: doses of a pass that clean and that harm [J/m²], each with its
    middle 90 %. grade: of the patch, None before any. dose: of a pass of that patch [J/m²], None where it was not laid
    as the levels are counted, so that it has no place on their axis.
    """

    label: str
    clean: Level
    harm: Level
    grade: tuple[str, str] | None = None
    dose: float | None = None


def row_of(label: str, levels: Mapping[str, Any], at: Setting, patch: Graded | None = None) -> Row:
    """The row of a belief whose `bench_levels.levels` were taken at a setting; patch: the last one it rests on."""
    if patch is None:
        return Row(label, levels[CLEAN], levels[HARM])
    laid = patch.moved()
    alike = same(laid.with_(travel_speed=at.travel_speed), at)
    dose = float(mean_dose(laid.average_power, laid.sweep_width, laid.travel_speed)) if alike else None
    return Row(label, levels[CLEAN], levels[HARM], (patch.residue, patch.harm), dose)


def gap(row: Row) -> tuple[float, float] | None:
    """Doses between what cleans 19 times in 20 and what harms 1 time in 20 [J/m²]; None while there is no room."""
    low, high = row.clean["p95"], row.harm["p5"]
    return (low, high) if low is not None and high is not None and low < high else None


def narrowing_svg(rows: Sequence[Row], width: int = WIDE, harm: str = "harms", ink: Ink = PAGE) -> str:
    """The picture as text, `width` px wide; never to be scaled.

    Args:
        rows: from before any patch to after the last; of more than MOST patches the middle ones are left out.
        width: WIDE or NARROW.
        harm: what the substrate does, "oak tints".
        ink: PAGE inside a page, FILE for a file of its own.
    """
    drawn = [*rows[:2], *rows[2 - MOST :]] if len(rows) > MOST + 1 else list(rows)
    small = width < 600
    # On a phone the label stands above its bars.
    left, step = (12, ROW + LINE) if small else (max(spread(row.label, ink) for row in rows) + 44, ROW)
    low, high = _ends(drawn)
    top = 2 * LINE + 8

    def x(dose: float) -> float:
        share = math.log(min(max(dose, low), high) / low) / math.log(high / low)
        return left + share * (width - 14 - left)

    bottom = top + step * len(drawn) + (LINE if gap(drawn[-1]) else 0)
    marks = ticks(low / 1e4, high / 1e4, lambda v: x(v * 1e4), lambda v: spread(f"{v:g}", ink) + 14)
    grid = "".join(f"M{x(v * 1e4):.1f} {top - 6}V{bottom}" for v in marks)
    parts = [f'<path d="{grid}" stroke="{ink.hair}" stroke-width="1"/>']
    for n, row in enumerate(drawn):
        y = top + step * n + (LINE if small else 0)
        parts.append(text(0, y - 4, row.label) if small else text(left - 44, y + 12 + BAR, row.label, "end"))
        parts += [_bar(row.clean, x, y + 6, True, ink), _bar(row.harm, x, y + 8 + BAR, False, ink)]
        if row.grade and row.dose is not None:
            parts.append(glyph(x(row.dose), y + 7 + BAR, *row.grade, ink))
        elif row.grade:
            beside = spread(row.label, ink) + 16 if small else left - 22
            parts.append(glyph(beside, y - 9 if small else y + 7 + BAR, *row.grade, ink))
    parts += _heads(drawn[0], x, harm, ink) + _room(drawn[-1], x, bottom - LINE - step, bottom, ink)
    parts += [text(x(v * 1e4), bottom + 20, f"{v:g}", "middle") for v in marks]
    parts.append(text(width - 8, bottom + 42, "dose of one pass, J/cm²", "end"))
    return svg((width, bottom + 50), in_words(rows, harm), parts, ink)


def _ends(rows: Sequence[Row]) -> tuple[float, float]:
    """Lowest and highest dose to draw [J/m²]; where one that cleans may lie far beyond all else its bar goes on."""
    lows = [v for row in rows for v in (row.clean["p5"], row.harm["p5"], row.dose) if v is not None]
    highs = [v for row in rows for v in (row.clean["p50"], row.harm["p95"], row.dose) if v is not None]
    return (0.8 * min(lows), 1.25 * max(highs, default=10 * max(lows))) if lows else (1e4, 1e5)


def _bar(level: Level, x: Any, y: float, ruled: bool, ink: Ink) -> str:
    """From where a level lies at least to where at most, 9 times in 10; open at the right where it goes on."""
    if level["p5"] is None:
        return ""
    start, end = x(level["p5"]), x(level["p95"] if level["p95"] is not None else math.inf)
    if not ruled:
        return f'<rect x="{start:.1f}" y="{y:.0f}" width="{max(end - start, 2):.1f}" height="{BAR}"/>'
    rules = []
    for c in range(PITCH, int(end - start + BAR), PITCH):
        first, last = max(0.0, c - (end - start)), min(float(BAR), float(c))
        rules.append(f"M{start + c - first:.1f} {y + first:.1f}L{start + c - last:.1f} {y + last:.1f}")
    shut = "" if level["p95"] is None or end >= x(math.inf) else f"V{y + BAR:.0f}"
    frame = f"M{end:.1f} {y + BAR:.0f}H{start:.1f}V{y:.0f}H{end:.1f}{shut}"
    return (
        f'<path d="{frame}" fill="{ink.paper}" stroke="{ink.ink}" stroke-width="1.2"/>'
        f'<path d="{"".join(rules)}" fill="none" stroke="{ink.ink}" stroke-width="1.2"/>'
    )


def _heads(row: Row, x: Any, harm: str, ink: Ink) -> list[str]:
    """What either bar is, over the first of each as near as there is room."""
    said = ("ruled: it cleans", f"solid: {harm}")
    found = []
    for n, (words, level) in enumerate(zip(said, (row.clean, row.harm), strict=True)):
        most = x(math.inf) - spread(words, ink, True)
        place = min(x(level["p5"]), most) if level["p5"] is not None else most
        found.append(text(max(place, 0.0), 15 + LINE * n, words, bold=True))
    return found


def _room(row: Row, x: Any, top: float, bottom: float, ink: Ink) -> list[str]:
    """The gap under the last row, where there is one."""
    found = gap(row)
    if not found:
        return []
    start, end = (x(v) for v in found)
    d = f"M{start:.1f} {top + 6:.0f}V{bottom - LINE + 4:.0f}M{end:.1f} {top + 6:.0f}V{bottom - LINE + 4:.0f}"
    wide = spread("room to work", ink, True) / 2
    middle = min(max((start + end) / 2, x(0.0) + wide), x(math.inf) - wide)
    return [
        f'<path d="{d}" stroke="{ink.mark}" stroke-width="2.4" fill="none"/>',
        f'<rect x="{middle - wide - 4:.0f}" y="{bottom - LINE + 4:.0f}" width="{2 * wide + 8:.0f}" height="{LINE - 4}" '
        f'fill="{ink.paper}"/>',
        text(middle, bottom - 1, "room to work", "middle", bold=True),
    ]  # fmt: skip


def in_words(rows: Sequence[Row], harm: str = "harms") -> str:
    """The picture in two sentences: before any patch and after the last."""
    said = [
        f"{raised(row.label)}: cleans from {_span(row.clean)}, {harm} from {_span(row.harm)} a pass"
        for row in (rows[0], rows[-1])[: len(rows)]
    ]
    last = gap(rows[-1])
    end = f"There is room to work from {show(last[0], 'fluence')} to {show(last[1], 'fluence')}." if last else (
        "There is no room between them yet."
    )  # fmt: skip
    return ". ".join(said) + f". {end}"


def _span(level: Level) -> str:
    low, high = (None if level[end] is None else show(float(f"{level[end]:.2g}"), "fluence") for end in ("p5", "p95"))
    return "out of reach" if low is None else f"{low} or more" if high is None else f"{low} to {high}"


def how_to_read(rows: Sequence[Row], at: Setting) -> str:
    """The caption: what the axis is and where a patch stands."""
    passes = f"{at.passes} pass{'' if at.passes == 1 else 'es'}"
    said = (
        f"Dose of one pass at {show(at.average_power, 'power')}, {show(at.repetition_rate, 'frequency')}, "
        f"{show(at.pulse_width, 'time')} and {passes}, by a slower or faster hand; each bar holds 90 in 100 of the "
        "belief."
    )
    apart = any(row.grade and row.dose is None for row in rows)
    left_out = len(rows) - 1 > MOST
    said += " A patch laid at other knobs stands beside the bars, not on the axis." if apart else ""
    return said + (f" Of {len(rows) - 1} patches the first and the last {MOST - 2} are drawn." if left_out else "")
