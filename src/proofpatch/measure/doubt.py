"""Which area makes a sum least sure, and what would make it surer."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from proofpatch.measure.figure import Area, Shape
from proofpatch.measure.mesh import Region
from proofpatch.measure.outline import Outline
from proofpatch.measure.scanned import Scanned
from proofpatch.measure.view import LengthView
from proofpatch.measure.zones import Zone

# What a rough instrument gives way to.
ROUGH = {
    "eye": "Measure it with a tape.", "told": "Measure it with a tape.", "pace": "Measure it with a tape.",
    "drawing": "Check the drawing with a tape at the piece.",
}  # fmt: skip
OF_FORM = {
    "joinery": "Measure frame and panels as shapes; a factor of the trade fits no piece quite.",
    "trellis": "Measure one bar and count them; a factor of the trade fits no piece quite.",
    "moulding": "Lay the strip round it in three places and take the middle.",
    "profile": "Lay a flexible strip round it, and give the girth.",
    "turned": "Take more stations, one at each bead and hollow.",
    "spindle": "Measure it by stations, as a turned part.",
}  # fmt: skip


@dataclass(frozen=True)
class Doubt:
    """An area that makes a sum unsure; share: of the sum's variance [1]. better: what to do about it."""

    zone: Zone
    area: Area
    share: float
    better: str


def least_sure(zones: Sequence[Zone]) -> Doubt | None:
    """The area that adds most to the variance of the sum of all that is cleaned; None where nothing is.

    Var(Σ A) = Σ (n A own)² + Σ over instruments (Σ n A shared)²; an area's share of the second is as its part of the
    inner sum. Zones that are not to be touched are not in the sum.
    """
    worked = [(zone, area) for zone in zones if not zone.untouched for area in zone.areas]
    together: dict[str, float] = defaultdict(float)
    for zone, area in worked:
        together[area.instrument] += zone.count * area.area * area.shared
    parts = [
        (zone.count * area.area * area.own) ** 2
        + zone.count * area.area * area.shared * together[area.instrument]
        for zone, area in worked
    ]  # fmt: skip
    total = math.fsum(parts)
    if not total:
        return None
    most = max(range(len(parts)), key=parts.__getitem__)
    zone, area = worked[most]
    return Doubt(zone, area, parts[most] / total, better(area))


def better(area: Area) -> str:
    """How to measure it so that it is surer, in a sentence."""
    if isinstance(area, Outline):
        if isinstance(area.view, LengthView):
            return "Tap the four corners of something square instead of one length."
        return "Photograph it nearer and straighter, and tap it closer."
    if isinstance(area, (Region, Scanned)):
        by_tape = area.mesh.by_tape if isinstance(area, Region) else area.by_tape
        return "Take the parts that matter with a tape." if by_tape else "Give its longest side by tape."
    if isinstance(area, Shape):
        if area.instrument in ROUGH and area.shared >= area.form:
            return ROUGH[area.instrument]
        if area.form > area.own / 2 and area.name in OF_FORM:
            return OF_FORM[area.name]
        if area.instrument in ROUGH:
            return ROUGH[area.instrument]
        if area.instrument == "calliper":
            return "A calliper is as sure as it gets; look at the others."
    return "Measure its shortest length again with a calliper."
