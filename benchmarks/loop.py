"""The whole loop on simulated truths: six calls against stepping up one knob at a time.

A truth is one concrete surface drawn from a belief of another seed; a step is graded by the same physics with
the grader's noise and wrong grades. Both methods may grade as many steps; a recipe counts only if it is truly
clean and harmless on the finished surface under the hand. The truth shares the form of the model, so this shows
that the loop works, not how it fares in the world.

Run: python benchmarks/loop.py [truths] [steps]     prints
     python benchmarks/loop.py --write               20 truths, 12 steps, writes docs/loop.md
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from dataclasses import dataclass

import numpy as np
from stamp import DOCS, stamp

import proofpatch as pp
from proofpatch.learn.assumptions import assumption
from proofpatch.learn.grading import CLEAN_EDGE, harm_chance, residue_chance
from proofpatch.learn.kernels import outcomes
from proofpatch.learn.rows import hand_row, setting_rows
from proofpatch.physics.rows import GRADER

SURFACES = (
    pp.Surface([pp.Layer("oil-varnish", condition="aged")], "oak", condition="aged"),
    pp.Surface([pp.Layer("loose-rust")], "tool-steel"),
    pp.Surface([pp.Layer("latex-paint", colour="black")], "paper"),
    pp.Surface([pp.Layer("baked-grease")], "aluminium"),
)


@dataclass(frozen=True)
class Truth:
    """One concrete surface and its grader."""

    surface: pp.Surface
    laser: str
    layer: np.ndarray
    substrate: np.ndarray
    rng: np.random.Generator

    def outcome(self, setting: pp.Setting, patch: bool) -> tuple[float, float, float]:
        """(log need, spread, margin)."""
        laser = pp.laser(self.laser)
        found = outcomes(
            self.layer,
            self.substrate,
            setting_rows([setting], laser),
            hand_row(pp.Hand(), patch=patch),
            len(self.surface.coats) - 1,
        )
        return float(found[0][0, 0]), float(found[1][0, 0]), float(found[2][0, 0])

    def grade(self, setting: pp.Setting) -> pp.Graded:
        """What a grader says of a timed patch."""
        need, spread, margin = self.outcome(setting, patch=True)
        noise, wrong = assumption("setting_noise").value, assumption("wrong_grade").value
        total = float(np.hypot(noise, self.substrate[0, GRADER]))
        residue = np.array([residue_chance(i, need, spread, total, wrong) for i in range(5)])
        harm = np.array([harm_chance(i, margin, total, wrong) for i in range(4)])
        seen = self.rng.choice(5, p=residue / residue.sum())
        hurt = self.rng.choice(4, p=harm / harm.sum())
        return pp.Graded(setting, pp.RESIDUES[4 - seen], pp.HARMS[hurt], seconds=0.1 / setting.travel_speed, length=0.1)

    def holds(self, setting: pp.Setting | None) -> str:
        """none, harmed, left, or good: what a recipe truly does."""
        if setting is None:
            return "none"
        need, spread, margin = self.outcome(setting, patch=False)
        if margin < 0:
            return "harmed"
        return "good" if need <= CLEAN_EDGE * spread else "left"


def draw_truth(surface: pp.Surface, seed: int, laser: str = "pulsed-500") -> Truth:
    """A truth of this surface; another seed, another truth."""
    belief = pp.prior(surface, laser, seed=100_000 + seed, draws=64)
    rng = np.random.default_rng([seed, 7])
    i = int(rng.integers(belief.draws))
    return Truth(surface, laser, belief.layer[i : i + 1].copy(), belief.substrate[i : i + 1].copy(), rng)


def six_calls(truth: Truth, steps: int, limits: pp.Limits, strip: int = 3) -> tuple[pp.Recipe, int, int]:
    """(recipe, graded steps, harmed steps)."""
    belief = pp.prior(truth.surface, truth.laser)
    harmed = used = 0
    while used < steps:
        patches = pp.next_patch(belief, limits, count=min(strip, steps - used))
        if not patches:
            break
        seen = []
        for patch in patches:
            graded = truth.grade(patch.setting)
            seen.append(graded)
            used += 1
            if graded.harm != "none":
                harmed += 1
                break
        belief = pp.update(belief, seen)
        found = pp.recipe(belief, limits)
        if found.setting is not None and found.confirmed:
            break
    return pp.recipe(belief, limits), used, harmed


def one_knob(truth: Truth, steps: int) -> tuple[pp.Setting | None, int, int]:
    """Power up by half from a gentle start; at harm or full power a step back and the next knob: passes, slower hand.

    The first patch that is clean and harmless is the recipe. Our guess of careful practice (no source).
    """
    laser = pp.laser(truth.laser)
    head = laser.handpiece
    rate = 1.5 * laser.max_power / laser.max_energy(200e-9)
    setting = pp.Setting(
        0.15 * laser.max_power,
        rate,
        200e-9,
        laser.spot_radius,
        head.sweep_width_default,
        head.sweep_speed_default,
        0.05,
    )
    knobs = ["power", "passes", "slower"]
    before, harmed = setting, 0
    for step in range(steps):
        graded = truth.grade(setting)
        if graded.harm != "none":
            harmed += 1
            setting = before
            knobs.pop(0)
        elif graded.residue == "clean":
            return setting, step + 1, harmed
        if knobs and knobs[0] == "power" and setting.average_power > 0.99 * laser.max_power:
            knobs.pop(0)
        if not knobs:
            return None, step + 1, harmed
        before = setting
        if knobs[0] == "power":
            setting = setting.with_(average_power=min(setting.average_power * 1.5, laser.max_power))
        elif knobs[0] == "passes":
            setting = setting.with_(passes=setting.passes * 2)
        else:
            setting = setting.with_(travel_speed=max(setting.travel_speed / 1.5, 0.002))
    return None, steps, harmed


def main(truths: int = 20, steps: int = 12) -> dict[str, Counter[str]]:
    """Counts for both methods, printed and returned."""
    count: dict[str, Counter[str]] = {"six calls": Counter(), "one knob": Counter()}
    started = time.time()
    for seed in range(truths):
        surface = SURFACES[seed % len(SURFACES)]
        found, used, harmed = six_calls(draw_truth(surface, seed), steps, pp.Limits())
        setting, used_by_knob, harmed_by_knob = one_knob(draw_truth(surface, seed), steps)
        words = []
        for name, s, n, h in (
            ("six calls", found.setting, used, harmed),
            ("one knob", setting, used_by_knob, harmed_by_knob),
        ):
            end = draw_truth(surface, seed).holds(s)
            count[name].update({end: 1, "graded steps": n, "harmed steps": h})
            words.append(f"{name}: {end} ({n} steps, {h} harmed)")
        print(f"truth {seed} {surface.substrate}: {'; '.join(words)}", flush=True)
    for name, ends in count.items():
        print(f"{name}: {dict(ends)} of {truths} truths")
    print(f"{time.time() - started:.0f} s")
    return count


def write() -> None:
    """The study as it is kept."""
    count = main()
    columns = ("good", "left", "harmed", "none", "graded steps", "harmed steps")
    lines = [
        "# The whole loop on 20 simulated truths",
        "",
        "Four kinds of job, five truths each, up to 12 graded steps with the grader's noise and wrong grades; ordinary",
        "limits. A truth is a draw of another seed from the same model, so this shows that the loop works, not how it",
        "fares in the world. *good*: the recipe is truly clean and harmless; *left*: coating stays; *harmed*: it",
        "harms; *none*: no recipe was named. The rival steps up one knob at a time (see benchmarks/loop.py).",
        "",
        stamp("seeds 0 to 19"),
        "",
        f"| method | {' | '.join(columns)} |",
        "|" + "---|" * (len(columns) + 1),
        *(f"| {name} | {' | '.join(str(ends[word]) for word in columns)} |" for name, ends in count.items()),
    ]
    DOCS.joinpath("loop.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    if sys.argv[1:] == ["--write"]:
        write()
    else:
        main(*(int(word) for word in sys.argv[1:3]))
