"""A process window in words: a sentence for who cannot see it, its caption, other points as a table and one by one."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import numpy as np

from proofpatch.phrases import chance_words
from proofpatch.pictures.field import KNOBS, Field
from proofpatch.units import show

TABLE = (4, 6)  # columns and rows of the table of other points


def at_words(field: Field, values: tuple[float, float]) -> str:
    """Where a point lies: "245 W at 40 kHz"."""
    across, up = (show(v, KNOBS[knob].kind) for knob, v in zip(field.knobs, values, strict=True))
    return f"{up} at {across}"


def hand_words(travel: float, passes: float) -> str:
    """How the hand goes: "hand 20 mm/s, 4 passes"."""
    return f"hand {show(travel, 'speed')}, {passes:.0f} pass{'' if passes == 1 else 'es'}"


def in_words(field: Field, name: str = "") -> str:
    """The picture in a sentence or two."""
    s = field.setting
    clean, harm = (chance_words(p) for p in field.chosen)
    across, up = (KNOBS[knob].words for knob in field.knobs)
    here = at_words(field, (getattr(s, field.knobs[0]), getattr(s, field.knobs[1])))
    said = f"{up.capitalize()} against {across}. {name.capitalize() or 'Ringed'}: {here}, clean {clean}, harm {harm}. "
    if not field.open.any():
        return said + "Nowhere are both limits held."
    rows, columns = np.nonzero(field.open)
    ends = [
        " to ".join(dict.fromkeys(show(float(v[n]), KNOBS[knob].kind) for n in (found.min(), found.max())))
        for knob, v, found in zip(field.knobs, (field.across, field.up), (columns, rows), strict=True)
    ]
    return said + f"Both limits are held in places from {ends[1]} and {ends[0]}."


def how_to_read(field: Field, patches: int = 0) -> str:
    """The caption: what the marks are, which hand it holds for, and which limit is met nowhere or everywhere."""
    s, f = field.setting, field
    p_clean, p_harm = f.p_clean[f.inside], f.p_harm[f.inside]
    said = [f"Ruled lines: {f.coating} still on. Dots: {f.harm}, likelier as they close."]
    said.append("Bare paper: inside both limits." if f.open.any() else "Nowhere are both limits held.")
    for p, level, word in ((p_clean, f.limits.p_clean, "clean"), (p_harm, f.limits.p_harm, "harm")):
        if p.max() < level:
            over = f"No point reaches {word} {chance_words(level)}."
            said.append(over if word == "clean" else f"Harm is under {chance_words(level)} everywhere.")
        elif p.min() >= level:
            said.append(f"{word.capitalize()} is at least {chance_words(level)} everywhere.")
    hand = hand_words(s.travel_speed, s.passes)
    said.append(f"Everywhere: {hand}." if f.held else "At each point the hand and the passes are the best for it.")
    most = f.laser.max_energy(s.pulse_width)
    said.append(
        f"Pulses of {show(s.pulse_width, 'time')}; dotted line: the most energy one can hold, {show(most, 'energy')}."
    )
    if patches:
        said.append("Squares: graded patches, each laid with a hand of its own.")
    return " ".join(said)


def short(p: float) -> str:
    """A chance as a count of 100 without the words: "65", "0.8", "over 99"."""
    said = chance_words(p)
    if said.endswith(" in 1000"):
        *under, count = said.removesuffix(" in 1000").split()
        return " ".join([*under, f"{int(count) / 10:g}"])
    return said.removesuffix(" in 100")


def table(field: Field) -> tuple[list[str], list[tuple[str, list[tuple[str, str] | None]]]]:
    """(heads across, rows from the top of (head, cells)); a cell: (clean, harm) of 100, None outside the laser."""
    i, j = (
        np.linspace(0, len(v) - 1, n).round().astype(int) for v, n in zip((field.across, field.up), TABLE, strict=True)
    )
    heads = [show(float(field.across[n]), KNOBS[field.knobs[0]].kind) for n in i]
    rows: list[tuple[str, list[tuple[str, str] | None]]] = []
    for row in j[::-1]:
        cells = [
            (short(float(field.p_clean[row, n])), short(float(field.p_harm[row, n]))) if field.inside[row, n] else None
            for n in i
        ]
        rows.append((show(float(field.up[row]), KNOBS[field.knobs[1]].kind), cells))
    return heads, rows


def readout(field: Field) -> str:
    """All points of the field in words as JSON, for reading it point by point.

    across, up: the axes in words. said: words, counted by clean, harm and, where it changes, hand (rows, columns); -1
    outside the laser.
    """
    said: dict[str, int] = {}

    def count(words: Callable[[int, int], str]) -> list[list[int]]:
        return [
            [said.setdefault(words(j, i), len(said)) if field.inside[j, i] else -1 for i in range(len(field.across))]
            for j in range(len(field.up))
        ]

    points: dict[str, Any] = {
        "across": [show(float(v), KNOBS[field.knobs[0]].kind) for v in field.across],
        "up": [show(float(v), KNOBS[field.knobs[1]].kind) for v in field.up],
        "clean": count(lambda j, i: chance_words(float(field.p_clean[j, i]))),
        "harm": count(lambda j, i: chance_words(float(field.p_harm[j, i]))),
    }
    if not field.held:
        points["hand"] = count(lambda j, i: hand_words(float(field.travel[j, i]), float(field.passes[j, i])))
    return json.dumps(points | {"said": list(said)}, separators=(",", ":"))
