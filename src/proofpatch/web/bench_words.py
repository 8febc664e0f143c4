"""What the bench says of two settings: B against A in a sentence, every figure beside the other, what limits what."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from proofpatch.bench import FIGURES, Side, ratios, shown
from proofpatch.bench_levels import governed
from proofpatch.phrases import chance_words, lowered
from proofpatch.pictures.bench import SAME
from proofpatch.pictures.dose import dose_drawings
from proofpatch.units import parse, show

LOST = 0.01  # of a unit, below which a figure keeps its own
UNEVEN = 1.3  # edge over middle from which the edges are spoken of; less may be how few pulses happen to lie


def answer(sides: Sequence[Side]) -> dict[str, Any]:
    """What the page says and shows of two sides."""
    lengths = [show(side.grid.rows * side.grid.pixel, "length") for side in sides]
    drawings = dose_drawings(sides)
    return {
        "h1": compared(*sides), "lead": lead(*sides),
        "pictures": [
            {"svg": drawing.svg, "notes": drawing.notes, "title": f"{show(side.setting.average_power, 'power')}, "
             f"sweep at {show(side.setting.sweep_speed, 'speed')}"}
            for side, drawing in zip(sides, drawings, strict=True)
        ],
        "travel": lengths[0] if lengths[0] == lengths[1] else f"{lengths[0]} in A and {lengths[1]} in B",
        "figures": figures(*sides), "limits": [side.limits for side in sides],
    }  # fmt: skip


def figures(first: Side, second: Side) -> list[tuple[str, str, str, str]]:
    """(words, A, B, B against A) of every figure that both have."""
    found = ratios(first, second)
    records = first.record, second.record

    def cells(key: str, kind: str) -> tuple[str, str]:
        if kind == "chance":
            one, other = (chance_words(record[key]) for record in records)
            return one, other
        one, other = (shown(record, key) for record in records)
        return alike(one, other, kind) if kind not in ("", "per mm²", "temperature") else (one, other)

    return [
        (words, *cells(key, kind), "" if kind == "chance" else times(found.get(key)))
        for key, (words, kind) in FIGURES.items()
        if key in first.record and key in second.record
    ]


def alike(one: str, other: str, kind: str) -> tuple[str, str]:
    """Two quantities as they are shown, in the larger one's unit where the smaller is not lost in it."""
    (_, _, unit), (_, _, its) = one.partition(" "), other.partition(" ")
    if not unit or not its or unit == its:
        return one, other
    sizes = [parse(f"1 {name}", kind, kind) for name in (unit, its)]
    larger, size = (unit, sizes[0]) if sizes[0] > sizes[1] else (its, sizes[1])
    said = [parse(words, kind, kind) / size for words in (one, other)]
    if min(said) < LOST:
        return one, other
    first, second = (f"{value:.3g} {larger}" if value < 1000 else f"{value:.0f} {larger}" for value in said)
    return first, second


def times(ratio: float | None) -> str:
    """A ratio in words; none where there is none."""
    if ratio is None:
        return ""
    return "the same" if abs(ratio - 1) < SAME else f"{ratio:.3g} times"


def compared(first: Side, second: Side) -> str:
    """B against A in one sentence, every figure from their records."""
    a, b, ratio = first.record, second.record, ratios(first, second)
    rate = ratio["area_rate_m2_s"]
    said = ["B is as fast as A"]
    if abs(rate - 1) >= SAME:
        said = [f"B is {rate:.2g} times as fast" if rate > 1 else f"B takes {1 / rate:.2g} times as long"]
    if "p_clean" in a:
        chances = [
            f"{word} {chance_words(b[key])}"
            + (f" against {chance_words(a[key])}" if _differ(a[key], b[key]) else " in both")
            for word, key in (("clean", "p_clean"), ("harm", "p_harm"))
        ]
        return f"{said[0]}; {', '.join(chances)}."
    said.append(_edges("its", a["edge_over_middle"], b["edge_over_middle"]) or _dose_words(ratio, rate))
    return "; ".join(part for part in said if part) + "."


def _differ(one: float, other: float) -> bool:
    return chance_words(one) != chance_words(other)


def _edges(whose: str, a: float | None, b: float | None) -> str:
    """How uneven the line of B is, or that of A."""
    if b is not None and b >= UNEVEN:
        against = "" if a is None else ", as in A" if f"{a:.2g}" == f"{b:.2g}" else f", {a:.2g} times in A"
        return f"{whose} edges get {b:.2g} times the dose of the middle" + (against if a and a >= UNEVEN else "")
    return f"{whose} line is even, A's edges get {a:.2g} times the middle" if a is not None and a >= UNEVEN else ""


def _dose_words(ratio: Mapping[str, float], rate: float) -> str:
    """Dose, or where that is the same the first thing that differs."""
    if abs(ratio["dose_J_m2"] - 1) >= SAME:
        return f"it gives {ratio['dose_J_m2']:.2g} times the dose"
    for key, words in (
        ("peak_fluence_J_m2", "its pulses have {:.2g} times the fluence"),
        ("peak_power_W", "its pulses have {:.2g} times the peak power"),
        ("pulse_pitch_m", "its pulses lie {:.2g} times as far apart"),
        ("line_pitch_m", "its lines lie {:.2g} times as far apart"),
    ):
        if abs(ratio[key] - 1) >= SAME:
            return f"with the same dose {words.format(ratio[key])}"
    return "" if abs(rate - 1) >= SAME else "nothing differs"


def lead(first: Side, second: Side) -> list[str]:
    """What limits what, a sentence or two: the heat that harms first, or without a surface how pulses and lines lie."""
    a, b = first.record, second.record
    if first.substrate and second.substrate:
        one, other = (lowered(governed(side.record, side.substrate)) for side in (first, second))
        said = [f"In A and in B: {one}"] if one == other else [f"In A {one}", f"In B {other}"]
        edges = _edges("B's", a["edge_over_middle"], b["edge_over_middle"])
        return [*said, f"{edges}."] if edges else said
    pitch, line = (
        f"{shown(b, key)} apart" + ("" if shown(a, key) == shown(b, key) else f", in A {shown(a, key)}")
        for key in ("pulse_pitch_m", "line_pitch_m")
    )
    spot = show(2 * second.setting.spot_radius, "spot")
    return [f"In B pulses lie {pitch}; lines lie {line}; the spot is {spot} across.",
            "Name a surface below to see what it stands."]  # fmt: skip
