"""What our choice of patches is compared with: three ways to test that need no physics, each with three tunings.

All start at the same safe first patch, may lay as many steps, see only grades, stay inside the laser's envelope, and
may name a setting between two they tested. Each is our own reading of the method (no source).
"""

from __future__ import annotations

import itertools
import math
import warnings
from collections.abc import Callable, Iterator
from typing import Any

import proofpatch as pp
from proofpatch.learn.forecast import FASTEST_HAND, SLOWEST_HAND, area_rate

Grade = Callable[[pp.Setting], pp.Graded]
Steps = Iterator[pp.Setting]
MOST_PASSES, LEAST_POWER = 12, 0.05  # of full power


def inside(setting: pp.Setting, laser: Any, **changes: Any) -> pp.Setting:
    """The setting with knobs turned, each cut to what laser and hand can do."""
    values = {"average_power": setting.average_power, "repetition_rate": setting.repetition_rate,
              "pulse_width": setting.pulse_width, "travel_speed": setting.travel_speed, "passes": setting.passes,
              **changes}  # fmt: skip
    rate = min(max(values["repetition_rate"], laser.min_rate), laser.max_rate)
    full = min(laser.max_power, rate * laser.max_energy(values["pulse_width"])) * (1 - 1e-9)
    return setting.with_(
        average_power=min(values["average_power"], full), repetition_rate=rate, pulse_width=values["pulse_width"],
        travel_speed=min(max(values["travel_speed"], SLOWEST_HAND), FASTEST_HAND),
        passes=int(min(max(values["passes"], 1), MOST_PASSES)),
    )  # fmt: skip


def named(seen: list[pp.Graded], laser: Any, back: float = 1.0) -> pp.Setting | None:
    """What a tester without a model names: the fastest clean and harmless patch, or the middle of two that bracket one.

    back: the hand a little slower than proven, in ln.
    """
    good = [g.setting for g in seen if g.residue == "clean" and g.harm == "none"]
    if good:
        best = max(good, key=area_rate)
        return inside(best, laser, travel_speed=best.travel_speed / back)
    left = [g.setting for g in seen if g.harm == "none" and g.residue in ("nearly", "partial")]
    over = [g.setting for g in seen if g.harm != "none" and g.residue == "clean"]
    for a, b in itertools.product(left[::-1], over[::-1]):
        turned = [k for k in ("average_power", "repetition_rate", "travel_speed", "pulse_width")
                  if abs(math.log(getattr(a, k) / getattr(b, k))) > 1e-6]  # fmt: skip
        if len(turned) == 1 and a.passes == b.passes:
            middle = math.sqrt(getattr(a, turned[0]) * getattr(b, turned[0]))
            return inside(a, laser, **{turned[0]: middle})
    return None


class OneKnob:
    """Up one knob at a time from gentle: power, then passes, then a slower hand; clean, then faster while it holds."""

    tunings = ({"step": 1.25, "back": 1.0}, {"step": 1.5, "back": 1.0}, {"step": 1.5, "back": 1.15})

    def __init__(self, laser: Any, start: pp.Setting, step: float, back: float) -> None:
        self.laser, self.step, self.back, self.seen = laser, step, back, list[pp.Graded]()
        self.now, self.knobs, self.faster = start, ["power", "passes", "slower"], True
        self.base = start

    def ask(self) -> pp.Setting | None:
        """The next setting to lay; None: out of ideas."""
        return self.now

    def tell(self, graded: pp.Graded) -> None:
        """What was seen of it."""
        self.seen.append(graded)
        if graded.harm == "none" and graded.residue == "clean":
            self.base = graded.setting
            self.now = self._quicker(graded.setting)
            return
        if any(g.residue == "clean" and g.harm == "none" for g in self.seen):
            self.now = self._between(graded.setting)
            return
        if graded.harm != "none" and self.knobs:
            self.knobs.pop(0)
        else:
            self.base = graded.setting
        self.now = self._harder()

    def _quicker(self, setting: pp.Setting) -> pp.Setting | None:
        if setting.passes > 1:
            return inside(setting, self.laser, passes=setting.passes - 1)
        faster = inside(setting, self.laser, travel_speed=setting.travel_speed * self.step)
        return faster if faster.travel_speed > setting.travel_speed * 1.01 else None

    def _between(self, failed: pp.Setting) -> pp.Setting | None:
        """Halfway back to what was proven."""
        speed = math.sqrt(failed.travel_speed * self.base.travel_speed)
        return (
            None
            if abs(math.log(speed / self.base.travel_speed)) < 0.03
            else inside(self.base, self.laser, travel_speed=speed)
        )

    def _harder(self) -> pp.Setting | None:
        while self.knobs:
            changed = {
                "power": inside(self.base, self.laser, average_power=self.base.average_power * self.step),
                "passes": inside(
                    self.base, self.laser, passes=max(self.base.passes + 1, round(self.base.passes * self.step))
                ),
                "slower": inside(self.base, self.laser, travel_speed=self.base.travel_speed / self.step),
            }[self.knobs[0]]
            if changed != self.base:
                return changed
            self.knobs.pop(0)
        return None

    def name(self) -> pp.Setting | None:
        """The recipe as it stands."""
        return named(self.seen, self.laser, self.back)


class Factorial:
    """A grid over power, rate and speed, laid gentlest dose first; nothing harder in all than what harmed."""

    tunings = (
        {"powers": (0.4, 1.0), "rates": (1.0, 3.0), "speeds": (1.0, 0.4, 0.16)},
        {"powers": (0.3, 0.6, 1.0), "rates": (1.0, 2.5), "speeds": (1.0, 0.5, 0.2)},
        {"powers": (1.0,), "rates": (1.0, 2.0, 4.0), "speeds": (2.0, 1.0, 0.5, 0.25, 0.12)},
    )

    def __init__(self, laser: Any, start: pp.Setting, **grid: tuple[float, ...]) -> None:
        self.laser, self.seen = laser, list[pp.Graded]()
        corner = laser.corner_rate(start.pulse_width)
        cells = [
            inside(start, laser, average_power=p * laser.max_power, repetition_rate=r * corner, travel_speed=s * 0.06)
            for p, r, s in itertools.product(grid["powers"], grid["rates"], grid["speeds"])
        ]
        self.cells = [start, *sorted(dict.fromkeys(cells), key=self._dose)]

    @staticmethod
    def _dose(s: pp.Setting) -> float:
        return s.average_power / s.travel_speed * s.passes

    def ask(self) -> pp.Setting | None:
        """The next cell that is not harder in fluence and dose than one that harmed."""
        harmed = [(g.setting.pulse_energy, self._dose(g.setting)) for g in self.seen if g.harm != "none"]
        while self.cells:
            cell = self.cells[0]
            if not any(cell.pulse_energy >= e * 0.999 and self._dose(cell) >= d * 0.999 for e, d in harmed):
                return cell
            self.cells.pop(0)
        return None

    def tell(self, graded: pp.Graded) -> None:
        """What was seen of it."""
        self.seen.append(graded)
        self.cells.pop(0)

    def name(self) -> pp.Setting | None:
        """The recipe as it stands."""
        return named(self.seen, self.laser)


class Optimiser:
    """A general-purpose optimiser (tree-structured Parzen estimator) of ln rate, less for remains and for harm."""

    tunings = ({"startup": 3, "harm": 1.5}, {"startup": 6, "harm": 1.5}, {"startup": 3, "harm": 4.0})

    def __init__(self, laser: Any, start: pp.Setting, startup: int, harm: float) -> None:
        import optuna

        optuna.logging.set_verbosity(optuna.logging.ERROR)
        warnings.simplefilter("ignore", optuna.exceptions.ExperimentalWarning)
        self.laser, self.start, self.harm, self.seen = laser, start, harm, list[pp.Graded]()
        sampler = optuna.samplers.TPESampler(n_startup_trials=startup, multivariate=True, seed=7)
        self.study = optuna.create_study(direction="maximize", sampler=sampler)
        first = {"width": start.pulse_width, "rate": start.repetition_rate, "speed": start.travel_speed}
        first["power"] = min(max(start.average_power / laser.max_power, LEAST_POWER), 1.0)
        self.study.enqueue_trial({**first, "passes": min(start.passes, MOST_PASSES)})
        self.trial: Any = None

    def ask(self) -> pp.Setting | None:
        """The next setting it proposes."""
        own = self.laser
        self.trial = t = self.study.ask()
        return inside(
            self.start, own,
            pulse_width=t.suggest_float("width", *own.pulse_widths, log=True),
            repetition_rate=t.suggest_float("rate", own.min_rate, own.max_rate, log=True),
            average_power=own.max_power * t.suggest_float("power", LEAST_POWER, 1.0, log=True),
            travel_speed=t.suggest_float("speed", SLOWEST_HAND, FASTEST_HAND, log=True),
            passes=t.suggest_int("passes", 1, MOST_PASSES, log=True),
        )  # fmt: skip

    def tell(self, graded: pp.Graded) -> None:
        """What was seen of it."""
        self.seen.append(graded)
        dirty = len(pp.RESIDUES) - 1 - pp.RESIDUES.index(graded.residue)
        worth = math.log(area_rate(graded.setting)) if not dirty and graded.harm == "none" else -10.0 - dirty
        self.study.tell(self.trial, worth - self.harm * pp.HARMS.index(graded.harm))

    def name(self) -> pp.Setting | None:
        """The recipe as it stands."""
        return named(self.seen, self.laser)


RIVALS: dict[str, Any] = {"one knob": OneKnob, "factorial grid": Factorial, "optimiser": Optimiser}


def run(
    kind: Any, tuning: dict[str, Any], grade: Grade, laser: Any, start: pp.Setting, marks: tuple[int, ...]
) -> list[Any]:
    """For each number of steps: (recipe named then or None, harmed steps so far)."""
    rival = kind(laser, start, **tuning)
    found, harmed = [], 0
    for step in range(1, max(marks) + 1):
        setting = rival.ask()
        if setting is not None:
            graded = grade(setting)
            harmed += graded.harm != "none"
            rival.tell(graded)
        if step in marks:
            found.append((rival.name(), int(harmed)))
    return found
