"""What the doubt about the hours rests on: each drawn quantity's share of their variance, ranked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from proofpatch.offer.rates import Floats, rates_data
from proofpatch.phrases import raised
from proofpatch.sources import cite
from proofpatch.units import percent

WORTH_NAMING = 0.03  # of the variance; less decides nothing (common practice, no source)
WORDS = {
    "set_up": "setting up and clearing away", "hand_factor": "time at the piece over beam-on time",
    "daily_speed": "the day's hand speed", "lane_overlap": "overlap of the lanes",
    "stroke_reach": "how far one stroke reaches", "stroke_run": "how far strokes run on to the mask",
    "stroke_turn": "the turn from stroke to stroke", "stance": "stepping and standing anew",
    "looking": "looking and brushing off", "lens_every": "how often the lens window is cleaned",
    "lens_clean": "cleaning the lens window", "wiping": "dusting the work down", "touching_up": "touching up",
    "islands": "how much has to be gone over again", "masking": "masking", "clamping": "turning and clamping",
    "hand_finish": "finishing by hand", "strip": "laying test strips", "breaks": "rest", "day": "how long a day is",
    "day_start": "starting up on each further day", "travel": "the road",
    "first_of_kind": "it being the first of its kind",
    "learning": "how fast the hand learns", "clean": "whether it comes clean at the first time",
    "correction": "what the shop's finished jobs leave open",
}  # fmt: skip


@dataclass(frozen=True)
class Driver:
    """name: of the drawn quantity. share: of the variance it makes alone [1]. words, source: of it."""

    name: str
    share: float
    words: str
    source: str

    @property
    def sentence(self) -> str:
        """The share in words."""
        return f"{raised(self.words)} makes {percent(round(self.share, 2))} of the doubt."


def drivers_of(seconds: Floats, drawn: Mapping[str, Floats]) -> tuple[Driver, ...]:
    """Drivers, the largest first.

        S_i = ρ²(x_i, t)                                                         (1)

    The share that x_i alone makes where t is a sum of independent quantities, near it here; what several make
    together is left out, so that the shares add up to less than one.

    Source: squared correlation, Saltelli et al., Global Sensitivity Analysis (2008), ch. 1 (from memory).
    """
    found = []
    data = rates_data()
    if float(seconds.std()) <= 1e-9 * float(np.abs(seconds).mean()):
        return ()
    for name, values in drawn.items():
        if np.ptp(values) <= 1e-12 * float(np.abs(values).max()):
            continue
        share = float(np.corrcoef(values, seconds)[0, 1]) ** 2
        if share >= WORTH_NAMING:
            source = cite(data[name]) if name in data else "drawn from the belief"
            found.append(Driver(name, share, WORDS.get(name, name), source))
    return tuple(sorted(found, key=lambda one: -one.share))
