"""The photo grader against made patches whose truth is known: share left, grades, tone. Writes docs/photos-grading.md.

    python benchmarks/grading.py --seed 1 --write

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

from made_photo import BARE, USUAL, Step, surface, treated

from proofpatch.learn.evidence import HARMS, RESIDUES
from proofpatch.photos.colour import difference, lab_of
from proofpatch.photos.grade import Samples, Seen, grade_steps
from proofpatch.photos.grades import residue_of

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
    blur = (PLACE * SCALE, PLACE * SCALE, 0)
    labs = [lab_of(ndimage.gaussian_filter(p.linear[inside], blur)) for p in (unharmed, patch)]
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


def run(seed: int = 0, pairs: list[tuple[str, str]] | None = None) -> list[Judged]:
    """A strip on every pair; without `pairs` all usual ones."""
    pairs = pairs or [(substrate, coating) for substrate, coatings in USUAL.items() for coating in coatings]
    return [row for pair in pairs for row in judge(*pair, seed)]


def table(rows: list[Judged]) -> str:
    """One line a pair, all pairs last."""
    lines = [
        "| pair | steps told | 95 of 100 within, points | within 5 points | grade right | harm right | harm missed "
        "| harm false | L* off, median |", "|---|" + "---:|" * 8,
    ]  # fmt: skip
    for name in [*dict.fromkeys(r.pair for r in rows), "all"]:
        s = summary([r for r in rows if name in ("all", r.pair)])
        if not s["told"]:
            lines.append(f"| {name} | 0 of {s['steps']}, by eye |" + " |" * 7)
            continue
        shares = [_percent(s[k]) for k in ("within 5", "grade right", "harm right", "harm missed", "harm false")]
        lines.append(
            f"| {name} | {s['told']} of {s['steps']} | {100 * s['p95']:.0f} | {' | '.join(shares)} "
            f"| {s['darker off']:.1f} |"
        )
    return "\n".join(lines)


def _percent(share: float) -> str:
    return "–" if np.isnan(share) else f"{100 * share:.0f} %"


def confusion(said: list[tuple[str | None, str | None]], grades: tuple[str, ...]) -> str:
    """Rows are true, columns what was seen; a grade that cannot be judged stands apart."""
    names = [*grades, None]
    count = Counter(said)
    lines = ["| true, seen: | " + " | ".join(n or "not told" for n in names) + " |", "|---|" + "---:|" * len(names)]
    for true in names:
        cells = " | ".join(str(count[true, seen] or "") for seen in names)
        lines.append(f"| {true or 'nothing bare'} | {cells} |")
    return "\n".join(lines)


def page(rows: list[Judged], seed: int) -> str:
    """docs/photos-grading.md."""
    s = summary(rows)
    return PAGE.format(
        seed=seed, steps=s["steps"], told=s["told"], pairs=len({r.pair for r in rows}), p95=f"{100 * s['p95']:.0f}",
        within=_percent(s["within 5"]), honest=_percent(s["inside 2 errors"]), right=_percent(s["grade right"]),
        near=_percent(s["grade near"]), missed=_percent(s["harm missed"]), false=_percent(s["harm false"]),
        tone=f"{s['tone off']:.1f}", worst=worst(rows), table=table(rows),
        residue=confusion([(residue_of(r.left), r.seen.residue) for r in rows], tuple(reversed(RESIDUES))),
        harm=confusion([(r.harm, r.seen.harm) for r in rows], HARMS),
    )  # fmt: skip


def worst(rows: list[Judged]) -> str:
    """The pairs whose share left is off by more than 5 points more often than one time in twenty."""
    bad = []
    for name in dict.fromkeys(r.pair for r in rows):
        s = summary([r for r in rows if r.pair == name])
        if s["told"] and s["within 5"] < 0.95:
            bad.append(f"{name} ({_percent(1 - s['within 5'])})")
    return ", ".join(bad) or "none"


PAGE = """# Grading by photo, against made patches

Run: `python benchmarks/grading.py --seed {seed} --write`. The constants of the grader were chosen on seed 0; no choice
but the widening of a doubtful error was made on seed {seed}.

{steps} steps on {pairs} pairs of coating and substrate, twelve steps a pair from untouched to clean, every second one
with a tint, a hot edge or burnt spots. The patches are made by `tests/made`, which shares no code and no constants with
the grader. All woods, metals and films are procedural, their numbers invented; only *real wall* and *real gravel* are
photographs that ship in a registry package. What flattening a photo leaves is put on top: blur of 0.6 px at 8 px/mm,
noise, and light that is off by about 1 % from window to window. The photo's finding and flattening are not in this
table. No real photo of a cleaned patch was at hand; expect worse from one.

- {told} of {steps} steps were told; the others were left to the eye.
- Share left: 95 of 100 steps are within {p95} points, {within} within 5 points (the aim: 95 %). {honest} lie within
  two of the grader's own standard errors (95 % would be right).
- Residue grade: {right} right, {near} right or one beside.
- Harm: of harmed steps {missed} were called none; of unharmed ones {false} were called harmed. Each window is cut from
  a place of its own, whose natural tone differs; half the tones lie within {tone} CIEDE2000 of the truth.
- More than one step in twenty off by over 5 points: {worst}.

What it cannot do: tell a brown varnish on dark wood from wood that was tinted as dark; tell brick from brick by one
sample of each; see a tint under about 2 CIEDE2000 where the ground itself varies as much; see harm under what is still
covered. It says so where it knows (the warnings) and widens the error.

{table}

Residue grade, steps:

{residue}

Harm grade, steps. True harm is judged on open ground, the worst grade over at least 0.1 % of it and 0.4 mm²:

{harm}
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seed", type=int, default=0, help="0 is for building, others for figures")
    parser.add_argument("--write", action="store_true", help="write docs/photos-grading.md")
    parser.add_argument("--each", action="store_true", help="print every step")
    said = parser.parse_args()
    start = time.perf_counter()
    rows = run(said.seed)
    for r in rows if said.each else ():
        s = r.seen
        print(r.pair, f"{r.left:.3f}", s.fraction_left, s.fraction_error, r.harm, s.harm, r.tone, s.tone, s.hot_edges)
    text = page(rows, said.seed)
    print(text)
    if said.write:
        (Path(__file__).parents[1] / "docs" / "photos-grading.md").write_text(text, encoding="utf-8")
    print(f"{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
