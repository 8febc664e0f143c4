"""How the hand moves over a zone: lanes, strokes, seconds a stroke, beats.

The lanes are those the hours are counted from (`offer.laying`), at the middle value of each rate: plan and hours agree.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from proofpatch.errors import InputError
from proofpatch.offer.laying import strokes_over
from proofpatch.offer.rates import rates_data
from proofpatch.offer.zones import Zone
from proofpatch.physics.setting import Setting
from proofpatch.run.piece import Piece
from proofpatch.units import show

BEAT = 1.0  # s, what a beat comes near to: slower cannot be felt, faster not kept (common practice, no source)


@dataclass(frozen=True)
class Strokes:
    """The plan of one piece of a zone.

    lanes: side by side. parts: strokes a lane is drawn in. stroke: length of one on the piece [m]; run: beyond it, at
    both ends together [m]. seconds: of one stroke, run included. beats, beat: of one stroke, and seconds each.
    step: from lane to lane [m]; overlap: share of the sweep. passes: over everything. strokes, beam: of all passes of
    all equal pieces, beam in seconds. narrower: None, or the sweep that would not hang over the member [m].
    """

    lanes: int
    parts: int
    stroke: float
    run: float
    seconds: float
    beats: int
    beat: float
    step: float
    overlap: float
    passes: int
    strokes: int
    beam: float
    narrower: float | None
    words: tuple[str, ...]


def plan_strokes(
    zone: Zone, setting: Setting, piece: Piece, rates: Mapping[str, float] | None = None, starts: str = "mask"
) -> Strokes:
    """The stroke plan of a zone at a setting.

    Args:
        zone: as the hours take it. rates: the shop's own, as `hours` takes them. starts: "mask" or "free", of the hand.

    Raises:
        InputError: nothing of the zone is for the beam.
    """
    rate = {name: datum.value for name, datum in rates_data().items()} | dict(rates or {})
    area = zone.area * (1.0 - zone.hand_share) * zone.effort
    if area <= 0:
        raise InputError("zones", "Nothing of this zone is for the beam.", "Plan another.")
    _, lanes_, parts_, along_ = strokes_over(
        np.array([area]), zone.width, setting.sweep_width, np.array([rate["lane_overlap"]]),
        np.array([rate["stroke_reach"]]),
    )  # fmt: skip
    lanes, parts, along = int(lanes_[0]), int(parts_[0]), float(along_[0])
    stroke, run = along / parts, rate["stroke_run"]
    seconds = (stroke + run) / setting.travel_speed
    beats = max(round(seconds / BEAT), 1)
    strokes = lanes * parts * setting.passes * zone.count
    step = setting.sweep_width * (1.0 - rate["lane_overlap"])
    narrower = zone.width if zone.width is not None and zone.width < setting.sweep_width else None
    found = Strokes(
        lanes, parts, stroke, run, seconds, beats, seconds / beats, step, rate["lane_overlap"], setting.passes,
        strokes, strokes * seconds, narrower, (),
    )  # fmt: skip
    return Strokes(**{**vars(found), "words": _words(found, zone, setting, piece, starts)})


def _words(plan: Strokes, zone: Zone, setting: Setting, piece: Piece, starts: str) -> tuple[str, ...]:
    way = "with the grain" if "wood" in piece.tags else "along the member"
    said = [
        f"Strokes run {way}, {_long(plan.stroke)} in {plan.seconds:.3g} s: {plan.beats} "
        f"beat{'s' if plan.beats != 1 else ''} of {plan.beat:.2f} s.",
    ]
    ends = f"Start and stop on a mask or off the piece, {_long(plan.run / 2)} beyond each end; never stand still on it."
    if starts == "free":
        ends = "This hand starts on the piece: beam on only while it moves, and off before it stops. A mask is safer."
    said.append(ends)
    if plan.lanes > 1:
        said.append(
            f"{plan.lanes} lanes, {_long(plan.step)} from one to the next: each covers "
            f"{_long(plan.overlap * setting.sweep_width)} of the last."
        )
    if plan.parts > 1:
        said.append(f"A lane is drawn in {plan.parts} parts; each part runs out onto a mask.")
    if plan.narrower is not None:
        said.append(
            f"The sweep of {_long(setting.sweep_width)} is wider than the member, {_long(plan.narrower)}: "
            "mask behind it. A narrower sweep at the same hand speed is another dose: not without a patch."
        )
    if zone.effort != 1.0:
        said.append("Corners and carving are counted as area: the strokes here measure the time, not the places.")
    passes = f"{plan.passes} passes" if plan.passes > 1 else "One pass"
    said.append(f"{passes}. Look after each: where it is clean, no more.")
    return tuple(said)


def narrowed(setting: Setting, width: float) -> Setting:
    """The setting with a sweep that fits a narrow member, and the hand so much faster that the dose stays.

        u' = u W/W',   dose P/(W u) of a pass kept                                       (1)

    What one crossing of the line brings stays too, for the sweep speed does; the band passes sooner. It is another
    setting: forecast it and lay a patch first.

    Raises:
        InputError: the sweep is no wider than the member.
    """
    if not 0 < width < setting.sweep_width:
        raise InputError("width", "The sweep already fits the member.", "Leave it as it is.")
    faster = setting.travel_speed * setting.sweep_width / width  # (1)
    return setting.with_(sweep_width=width, travel_speed=faster)


def _long(length: float) -> str:
    return show(length, "length")
