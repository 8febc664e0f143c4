"""A graded patch: what was done, what was seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from proofpatch.errors import InputError, expect
from proofpatch.lasers import Laser
from proofpatch.physics.setting import Setting, finite_number

# By area still covered: all and thinned by under 5 %; over 90 %; 10 to 90 %; 1 to 10 %; at most 1 %.
RESIDUES = ("no effect", "trace", "partial", "nearly", "clean")
HARMS = ("none", "tint", "marked", "burnt")
# s, after which a patch is judged: wood and paper the next day, when a tint has come out; masonry after a week.
ADVISED_WAIT = {"wood": 12 * 3600.0, "paper": 12 * 3600.0, "mineral": 7 * 86400.0}
RUST_SETS_IN = 8 * 3600.0  # s, after which bare steel may carry fresh rust (both common practice, no source)


@dataclass(frozen=True)
class Graded:
    """One graded patch, judged after the dust was wiped off.

    Args:
        setting: as dialled in.
        residue: one of RESIDUES, for `layer`.
        harm: one of HARMS, for the substrate.
        fraction_left: share of the area still covered, measured [1]; None: graded by eye.
        fraction_error: standard error of that share [1]; None: as a photo's is taken to be (`grading.photo_error`).
        layer: index of the layer judged, 0 the top one.
        laser: the laser it was laid with, as it then was; None: the belief's own.
        seconds: time one stroke (one pass) really took [s]. length: its length [m]. Both or neither; they replace the
            travel speed of the setting.
        wiped: dust wiped off before judging.
        grader: who judged.
        waited: time between laying and judging [s]; None: as advised (`ADVISED_WAIT`).

    Raises:
        InputError: an unknown grade, a share outside 0 to 1, an error of no share, a time without a length.
    """

    setting: Setting
    residue: str
    harm: str
    fraction_left: float | None = None
    layer: int = 0
    laser: Any = None
    seconds: float | None = None
    length: float | None = None
    wiped: bool = True
    grader: str | None = None
    waited: float | None = None
    fraction_error: float | None = None

    def __post_init__(self) -> None:
        expect("setting", self.setting, Setting, "Build it with Setting(...).")
        for field, kind in (("residue", str), ("harm", str), ("wiped", bool)):
            expect(field, getattr(self, field), kind, "See the grades.")
        if self.grader is not None:
            expect("grader", self.grader, str, "Give a name.")
        if self.laser is not None:
            expect("laser", self.laser, (str, Laser), "Name a built-in one, or build a Laser.")
        if self.residue not in RESIDUES:
            raise InputError(
                "residue", f"The residue grade {self.residue!r} is not known.", f"Use one of: {', '.join(RESIDUES)}."
            )
        if self.harm not in HARMS:
            raise InputError("harm", f"The harm grade {self.harm!r} is not known.", f"Use one of: {', '.join(HARMS)}.")
        if self.fraction_left is not None:
            finite_number("fraction_left", "The fraction left", self.fraction_left, 0.0, 1.0, "")
        if self.fraction_error is not None:
            finite_number("fraction_error", "The error of the fraction left", self.fraction_error, 1e-3, 1.0, "")
            if self.fraction_left is None:
                raise InputError("fraction_error", "An error was given of no fraction left.", "Give the fraction too.")
        if isinstance(self.layer, bool) or not isinstance(self.layer, int) or self.layer < 0:
            raise InputError(
                "layer",
                f"The layer {self.layer!r} is not a whole number from 0.",
                "Count layers from the top, 0 first.",
            )
        if (self.seconds is None) != (self.length is None):
            missing = "length" if self.length is None else "seconds"
            raise InputError(
                missing, "A measured speed needs both the seconds and the length of the stroke.", f"Give {missing} too."
            )
        if self.seconds is not None and self.length is not None:
            finite_number("seconds", "The time of the stroke", self.seconds, 1e-3, 1e5, "s")
            finite_number("length", "The length of the stroke", self.length, 1e-4, 1e2, "m")
            self.moved()
        if self.waited is not None:
            finite_number("waited", "The wait before judging", self.waited, 0.0, 1e9, "s")

    def moved(self) -> Setting:
        """The setting with the speed really moved."""
        if self.seconds is None or self.length is None:
            return self.setting
        return self.setting.with_(travel_speed=self.length / self.seconds)

    def key(self) -> tuple[Any, ...]:
        """What evidence is sorted by, so that the order of patches cannot matter."""
        s = self.moved()
        return (
            s.average_power, s.repetition_rate, s.pulse_width, s.spot_radius, s.sweep_width, s.sweep_speed,
            s.travel_speed, s.passes, s.pattern, self.layer, self.residue, self.harm,
            self.fraction_left is not None, self.fraction_left or 0.0, self.fraction_error or 0.0, self.wiped,
            self.seconds is not None, self.grader or "", str(self.laser), self.waited is not None, self.waited or 0.0,
        )  # fmt: skip
