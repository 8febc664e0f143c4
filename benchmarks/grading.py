"""The photo grader against made patches whose truth is known: share left, grades, tone. Writes docs/photos-grading.md.

    python benchmarks/grading.py            # every usual substrate and coating, about two minutes
    python benchmarks/grading.py --write    # and the page

The patches are made by tests/made (procedural; it shares no code and no constants with the grader). Between them and
the grader stands what a flattened photo leaves: blur, noise, and light that is not quite even.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy import ndimage

sys.path.append(str(Path(__file__).parents[1] / "tests" / "made"))

from made_photo import BARE, USUAL, Step, surface, treated  # noqa: E402  # found by the line above

from proofpatch.learn.evidence import HARMS, RESIDUES  # noqa: E402
from proofpatch.photos.colour import difference, lab_of  # noqa: E402
from proofpatch.photos.grade import Samples, Seen, grade_steps  # noqa: E402
from proofpatch.photos.grades import residue_of  # noqa: E402

SCALE = 8000.0  # pixels of a metre, as flattened
SIDE, MARGIN = 0.022, 0.002  # m, of a window, and of untouched film in it
SHARES = (1.0, 0.97, 0.85, 0.6, 0.35, 0.15, 0.07, 0.035, 0.015, 0.005, 0.0, 0.0)
BLUR, NOISE, GRADIENT, CAST = 0.6, 0.006, 0.02, 0.008  # px, of white, relative across the sheet, relative a channel
PLACE, LEAST = 0.35e-3, 0.4e-6  # m and m², over which and from which harm is judged, as in the grader's definition
EDGES = (1.0, 2.0, 5.0)  # CIEDE2000


@dataclass(frozen=True)
class Judged:
    """One made step: what is true and what the grader saw."""

    pair: str
    left: float
    harm: str | None
    tone: float
    darker: float
    yellower: float
    pores: float
    seen: Seen


def as_photographed(linear: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """What flattening a photo leaves of a patch."""
    blurred = ndimage.gaussian_filter(linear, (BLUR, BLUR, 0))
    slope, cast = rng.normal(0, GRADIENT / 2, 2), 1 + rng.normal(0, CAST, 3)
    y, x = np.mgrid[-0.5 : 0.5 : linear.shape[0] * 1j, -0.5 : 0.5 : linear.shape[1] * 1j]
    lit = blurred * (1 + slope[0] * y + slope[1] * x)[..., None] * cast
    return np.clip(lit + rng.normal(0, NOISE, linear.shape) * np.sqrt(np.maximum(lit, 0.02)), 0, 1).astype(np.float32)


def steps_of(rng: np.random.Generator) -> list[Step]:
    """Twelve steps from untouched to clean, every second one with harm."""
    made = []
    for n, share in enumerate(SHARES):
        step = Step(share, lie=("islands", "edges", "lines", "grain")[int(rng.integers(4))], margin=MARGIN)
        if n % 2:
            kind = ("tint", "tint", "hot", "burnt")[int(rng.integers(4))]
            tint = float(rng.uniform(2, 8))
            step = {
                "tint": replace(step, darkening=tint, yellowing=tint / 2),
                "hot": replace(step, hot=float(rng.uniform(0.4, 0.9))),
                "burnt": replace(step, burnt=int(rng.integers(1, 4))),
            }[kind]
        made.append(step)
    return made


def true_harm(patch, unharmed, inside) -> str | None:
    """The worst grade over enough of the open ground, by holding the patch against the same one without harm."""
    open_ground = ~(patch.left | unharmed.left | patch.pores)[inside]
    if open_ground.sum() < 100:
        return None
    labs = [lab_of(ndimage.gaussian_filter(p.linear[inside], (PLACE * SCALE, PLACE * SCALE, 0))) for p in (unharmed, patch)]
    off = np.where(ndimage.binary_erosion(open_ground, iterations=2), difference(*labs), 0.0)
    least = max(0.001 * open_ground.sum(), LEAST * SCALE**2)
    return HARMS[max((g for g in (1, 2, 3) if (off >= EDGES[g - 1]).sum() > least), default=0)]


def judge(substrate: str, coating: str, seed: int) -> list[Judged]:
    """A strip of twelve steps on one piece."""
    rng = np.random.default_rng([seed, *map(ord, substrate + coating)])
    side, edge = round(SIDE * SCALE), round((MARGIN + 0.5e-3) * SCALE)
    inside = np.s_[edge : side - edge, edge : side - edge]

    def piece():
        return surface(substrate, coating, (side, side), SCALE, rng)

    bare = as_photographed(treated(piece(), BARE, rng).linear, rng)
    coated = as_photographed(treated(piece(), None, rng).linear, rng)
    windows, truths = [], []
    for step in steps_of(rng):
        whole, own = piece(), int(rng.integers(2**31))
        patch = treated(whole, step, np.random.default_rng(own))
        harmless = replace(step, darkening=0.0, yellowing=0.0, hot=0.0, burnt=0)
        unharmed = treated(whole, harmless, np.random.default_rng(own))
        windows.append(as_photographed(patch.linear, rng)[inside])
        clean, tinted = lab_of(np.array([patch.clean, patch.tinted], dtype=np.float64))
        truths.append((
            float(patch.fraction_in(*inside)), true_harm(patch, unharmed, inside), float(difference(clean, tinted)),
            float(clean[0] - tinted[0]), float(tinted[2] - clean[2]), float(patch.pores[inside].mean()),
        ))  # fmt: skip
    seen = grade_steps(windows, Samples((coated,), (bare,)), SCALE)
    return [Judged(f"{coating} on {substrate}", *truth, s) for truth, s in zip(truths, seen, strict=True)]


def summary(rows: list[Judged]) -> dict[str, float]:
    """Figures of some steps."""
    told = [r for r in rows if r.seen.fraction_left is not None]
    if not told:
        return {"steps": len(rows), "told": 0}
    off = np.array([r.seen.fraction_left - r.left for r in told])
    error = np.array([r.seen.fraction_error for r in told])
    grade = [abs(RESIDUES.index(r.seen.residue) - RESIDUES.index(residue_of(r.left))) for r in told]
    harmed = [r for r in told if r.seen.harm is not None and r.harm is not None]
    apart = np.array([HARMS.index(r.seen.harm) - HARMS.index(r.harm) for r in harmed])
    toned = [r for r in told if r.seen.tone is not None and r.left < 0.5]
    return {
        "steps": len(rows), "told": len(told),
        "p95": float(np.quantile(np.abs(off), 0.95)), "mean off": float(off.mean()),
        "within 5": float((np.abs(off) <= 0.05).mean()), "inside 2 errors": float((np.abs(off) <= 2 * error).mean()),
        "grade right": float(np.mean(np.array(grade) == 0)), "grade near": float(np.mean(np.array(grade) <= 1)),
        "harm right": float((apart == 0).mean()) if len(apart) else np.nan,
        "harm missed": float(np.mean([r.seen.harm == "none" for r in harmed if r.harm != "none"] or [np.nan])),
        "harm false": float(np.mean([r.seen.harm != "none" for r in harmed if r.harm == "none"] or [np.nan])),
        "darker off": float(np.median([abs(r.seen.tone.darker - r.darker) for r in toned] or [np.nan])),
        "tone off": float(np.median([abs(r.seen.tone.change - r.tone) for r in toned] or [np.nan])),
    }  # fmt: skip


def run(seeds: int = 1, pairs: list[tuple[str, str]] | None = None) -> list[Judged]:
    """All usual pairs."""
    pairs = pairs or [(substrate, coating) for substrate, coatings in USUAL.items() for coating in coatings]
    return [row for seed in range(seeds) for pair in pairs for row in judge(*pair, seed)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=1)
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--verbose", action="store_true")
    said = parser.parse_args()
    start = time.perf_counter()
    rows = run(said.seeds)
    names = list(dict.fromkeys(r.pair for r in rows))
    keys = ("told", "p95", "mean off", "within 5", "inside 2 errors", "grade right", "grade near", "harm right", "harm missed", "harm false", "darker off", "tone off")
    for name in [*names, "all"]:
        of = summary([r for r in rows if name in ("all", r.pair)])
        print(f"{name:28s}", *(f"{k} {of.get(k, np.nan):.2f}" for k in keys))
    if said.verbose:
        for r in rows:
            s = r.seen
            print(r.pair, f"true {r.left:.3f}", s.fraction_left is not None and f"seen {s.fraction_left:.3f}±{s.fraction_error:.3f}", f"harm {r.harm}/{s.harm} tone {r.tone:.1f}", s.tone and f"{s.tone.change:.1f}±{s.tone.error:.1f}", f"tinted {s.tinted:.3f} burnt {s.burnt:.3f} pores {r.pores:.3f}/{s.pores:.3f} odd {s.strange:.2f} edges {s.hot_edges}", s.warnings[:1])
    print(Counter((residue_of(r.left), r.seen.residue) for r in rows))
    print(Counter((r.harm, r.seen.harm) for r in rows))
    print(f"{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
