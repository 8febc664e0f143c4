"""Where a process window lies in its drawing, and what stands at each of its pixels."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from proofpatch.pictures.drawing import Box
from proofpatch.pictures.field import KNOBS, Bools, Field, Floats, Points, between, can, logit
from proofpatch.units import parse, show

RING = 9  # px, radius of the ring about the setting
CLEAR = 4  # px a slip keeps from what it may not cover


@dataclass(frozen=True)
class Plot:
    """Where a field lies in its drawing [px]."""

    field: Field
    left: int
    top: int
    width: int
    height: int

    @property
    def box(self) -> Box:
        """Its edges."""
        return self.left, self.top, self.left + self.width, self.top + self.height

    def x(self, value: Any) -> Any:
        """Pixels from the left of a value of the knob across."""
        low, high = self.field.across[0], self.field.across[-1]
        return self.left + self.width * np.log(value / low) / math.log(high / low)

    def y(self, value: Any) -> Any:
        """Pixels from the top of a value of the knob up."""
        low, high = self.field.up[0], self.field.up[-1]
        return self.top + self.height * (1 - np.log(value / low) / math.log(high / low))

    def here(self, x: Any, y: Any) -> tuple[Floats, Floats, Bools]:
        """(P(clean), P(harm), whether something is printed) at pixels, any shape."""
        p_clean, p_harm, on, bare = self._at(x, y)
        return p_clean, p_harm, on & ~bare

    def bare(self, x: Any, y: Any) -> Bools:
        """Whether pixels lie inside both limits, any shape."""
        _, _, on, bare = self._at(x, y)
        return on & bare

    def _at(self, x: Any, y: Any) -> tuple[Floats, Floats, Bools, Bools]:
        """(P(clean), P(harm), whether the laser can, whether both limits are held)."""
        f = self.field
        x, y = np.asarray(x, float), np.asarray(y, float)
        share_x, share_y = (x - self.left) / self.width, 1 - (y - self.top) / self.height
        on = (share_x >= 0) & (share_x <= 1) & (share_y >= 0) & (share_y <= 1)
        value_x = f.across[0] * (f.across[-1] / f.across[0]) ** share_x
        value_y = f.up[0] * (f.up[-1] / f.up[0]) ** share_y
        on &= can(f.laser, f.setting, f.knobs, value_x, value_y)
        at_x, at_y = share_x * (len(f.across) - 1), share_y * (len(f.up) - 1)
        p_clean, p_harm = (special.expit(between(logit(p), at_y, at_x)) for p in (f.p_clean, f.p_harm))
        bare = (p_clean >= f.limits.p_clean) & (p_harm <= f.limits.p_harm)
        return p_clean, p_harm, on & np.isfinite(p_clean), bare

    def edge(self) -> tuple[Points, Points]:
        """(corners of what the laser can do, the line of the most energy a pulse can hold), px."""
        (x0, y0), (x1, y1) = (self.left, self.top), (self.left + self.width, self.top + self.height)
        f = self.field
        corners = [(x0, y1), (x1, y1), (x1, y0), (x0, y0)]

        def room(x: float, y: float) -> float:
            """ln of how much more energy a pulse could hold."""
            value = {
                f.knobs[0]: f.across[0] * (f.across[-1] / f.across[0]) ** ((x - x0) / self.width),
                f.knobs[1]: f.up[0] * (f.up[-1] / f.up[0]) ** (1 - (y - y0) / self.height),
            }
            power, rate = (value.get(k, getattr(f.setting, k)) for k in ("average_power", "repetition_rate"))
            return math.log(rate * f.laser.max_energy(f.setting.pulse_width) / power)

        kept: Points = []
        cut: Points = []
        for a, b in zip(corners, corners[1:] + corners[:1], strict=True):
            ra, rb = room(*a), room(*b)
            kept += [a] if ra >= -1e-9 else []
            if ra * rb < 0:
                share = ra / (ra - rb)
                cut.append((a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])))
                kept.append(cut[-1])
        return kept, cut


def runs(values: NDArray[np.int64]) -> list[tuple[int, int]]:
    """(first, one past last) of each run of equal values."""
    ends = np.flatnonzero(np.diff(values)) + 1
    return list(zip([0, *ends.tolist()], [*ends.tolist(), len(values)], strict=True)) if len(values) else []


def unit_of(knob: str, values: Floats) -> tuple[str, float]:
    """The unit an axis is in and its size in SI."""
    kind = KNOBS[knob].kind
    unit = show(float(np.sqrt(values[0] * values[-1])), kind).partition(" ")[2]
    return unit, parse(f"1 {unit}", kind, kind)
