"""What the job allows, and the hand that does it."""

from __future__ import annotations

from dataclasses import dataclass

from proofpatch.errors import InputError
from proofpatch.learn.assumptions import assumption
from proofpatch.physics.setting import finite_number


@dataclass(frozen=True)
class Limits:
    """Limits of the job, for the finished surface under a human hand.

    Args:
        p_clean: least chance that visible coating stays on at most 1 % of the open surface.
        p_harm: largest chance of tint or worse on more than 0.1 % of it, or of a mark over 3 mm.
        p_harm_patch: the same for a test patch, which lies where a mark can be borne.
    """

    p_clean: float = 0.95
    p_harm: float = 0.01
    p_harm_patch: float = 0.10

    def __post_init__(self) -> None:
        for field, words in (
            ("p_clean", "The least chance of clean"),
            ("p_harm", "The largest chance of harm"),
            ("p_harm_patch", "The largest chance of harm on a patch"),
        ):
            value = finite_number(field, words, getattr(self, field), 0.0, 1.0, "")
            object.__setattr__(self, field, value)


# Three presets in the owner's words; editable in a job file. Our judgement (common practice, no source).
PRESETS = {
    "heirloom": Limits(p_clean=0.90, p_harm=0.003, p_harm_patch=0.03),
    "ordinary": Limits(),
    "scrap": Limits(p_clean=0.90, p_harm=0.10, p_harm_patch=0.50),
}


@dataclass(frozen=True)
class Hand:
    """How steadily the head is moved.

    Args:
        speed_spread: ± share of the travel speed that covers 95 % of the surface [1].
        stand_off_spread: one standard deviation of the distance to the work [m].
        starts: "mask" (strokes start and end on a mask or off the piece) or "free" (on the piece, beam on).
    """

    speed_spread: float = 0.25
    stand_off_spread: float = assumption("stand_off_spread").value
    starts: str = "mask"

    def __post_init__(self) -> None:
        object.__setattr__(
            self, "speed_spread", finite_number("speed_spread", "Speed spread", self.speed_spread, 0.0, 1.0, "")
        )
        value = finite_number("stand_off_spread", "Stand-off spread", self.stand_off_spread, 0.0, 0.1, "m")
        object.__setattr__(self, "stand_off_spread", value)
        if not isinstance(self.starts, str) or self.starts not in ("mask", "free"):
            raise InputError("starts", f"Starts {self.starts!r} is not known.", "Use mask or free.")

    @property
    def stop_seconds(self) -> float:
        """Longest stand-still of a stroke with the beam on the piece [s]."""
        return assumption("stop_seconds").value if self.starts == "free" else 0.0
