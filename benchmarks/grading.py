"""The photo grader through the whole chain, against made photos whose truth is known. Writes docs/photos-grading.md.

    python benchmarks/grading.py --write

The printed sheet lies on a made piece, each window shows a made patch, a made camera takes a JPEG of 12 MP; the sheet
is found, flattened and graded. tests/made shares no code and no constants with the grader.
"""

from __future__ import annotations

import argparse
import pickle
import sys
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

sys.path.append(str(Path(__file__).parents[1] / "tests" / "made"))

from made_photo import BIG, USUAL
from made_sheet import printed
from made_strip import strip_photo
from photo_code import GRADED, digest

from proofpatch.learn.evidence import HARMS, RESIDUES
from proofpatch.photos.grade import Seen
from proofpatch.photos.grades import residue_of
from proofpatch.photos.shot import judge as judge_shots
from proofpatch.photos.shot import shoot

SEED = 7  # of the page; never used for a choice
STEPS, PAPERS, TILTS = 8, ("us-letter", "a4"), (0.0, 20.0)  # windows of a sheet; degrees, photo by photo


@dataclass(frozen=True)
class Judged:
    """One made step: what is true and what the grader saw; `seconds` of the processor for its whole photo."""

    pair: str
    left: float
    harm: str | None
    tone: float
    darker: float
    ring: bool
    tilt: float
    seconds: float
    seen: Seen


def judge(substrate: str, coating: str, seed: int, photo: int = 0, size: tuple[int, int] = BIG) -> list[Judged]:
    """One photo of a strip on one piece."""
    rng = np.random.default_rng([seed, photo, *map(ord, substrate + coating)])
    turn = photo + sum(map(ord, substrate + coating))
    frame, raster = printed(STEPS, PAPERS[turn // 2 % 2])
    tilt = TILTS[turn % 2]
    made, truths = strip_photo(frame, raster, rng, substrate, coating, tilt, size)
    start = time.process_time()
    seen = judge_shots([shoot(made.jpeg, frame)])[0]
    seconds = time.process_time() - start
    return [
        Judged(f"{coating} on {substrate}", t.left, t.harm, t.tone, t.darkening, t.ring, tilt, seconds, seen[n])
        for n, t in enumerate(truths, 1)
        if n in seen
    ]


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
        "harm known": sum(r.harm is not None for r in told), "harm told": len(harmed),
        "burnt false": float(np.mean([r.seen.harm == "burnt" for r in harmed if r.harm == "none"] or [np.nan])),
        "tone off": float(np.median([abs(r.seen.tone.change - r.tone) for r in toned] or [np.nan])),
    }  # fmt: skip


def run(
    seed: int = 0, pairs: list[tuple[str, str]] | None = None, photos: int = 1, size: tuple[int, int] = BIG,
    kept: Path | None = None,
) -> list[Judged]:  # fmt: skip
    """So many photos of a strip on every pair; without `pairs` all usual ones.

    kept: folder that keeps what was judged, pair by pair and for this code, and gives it back.
    """
    cv2.setNumThreads(1)
    pairs = pairs or [(substrate, coating) for substrate, coatings in USUAL.items() for coating in coatings]
    return [row for pair in pairs for photo in range(photos) for row in _judged(*pair, seed, photo, size, kept)]


def _judged(
    substrate: str, coating: str, seed: int, photo: int, size: tuple[int, int], kept: Path | None
) -> list[Judged]:
    place = kept / f"{digest(GRADED)}-{seed}-{photo}-{coating}-{substrate}.pickle" if kept else None
    if place and place.exists():
        found: list[Judged] = pickle.loads(place.read_bytes())
        return found
    rows = judge(substrate, coating, seed, photo, size)
    if place:
        place.write_bytes(pickle.dumps(rows))
    return rows


def table(rows: list[Judged]) -> str:
    """One line a pair, all pairs last."""
    lines = [
        "| pair | steps told | 95 of 100 within, points | within 5 points | within 2 errors | grade right | harm told "
        "| harm missed | harm false |", "|---|" + "---:|" * 8,
    ]  # fmt: skip
    for name in [*dict.fromkeys(r.pair for r in rows), "all"]:
        s = summary([r for r in rows if name in ("all", r.pair)])
        if not s["told"]:
            lines.append(f"| {name} | 0 of {s['steps']}, by eye |" + " |" * 7)
            continue
        shares = [_percent(s[k]) for k in ("within 5", "inside 2 errors", "grade right")]
        harm = [f"{s['harm told']} of {s['harm known']}", *(_percent(s[k]) for k in ("harm missed", "harm false"))]
        lines.append(
            f"| {name} | {s['told']} of {s['steps']} | {100 * s['p95']:.0f} | {' | '.join([*shares, *harm])} |"
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


def page(rows: list[Judged], seed: int, photos: int = 1) -> str:
    """docs/photos-grading.md."""
    s = summary(rows)
    ring, tilted = summary([r for r in rows if r.ring]), summary([r for r in rows if r.tilt])
    seconds = [r.seconds for r in rows]
    return PAGE.format(
        code=digest(GRADED), seed=seed, photos=photos, steps=s["steps"], told=s["told"],
        pairs=len({r.pair for r in rows}),
        p95=f"{100 * s['p95']:.0f}", within=_percent(s["within 5"]), honest=_percent(s["inside 2 errors"]),
        right=_percent(s["grade right"]), near=_percent(s["grade near"]), missed=_percent(s["harm missed"]),
        false=_percent(s["harm false"]), burnt=_percent(s["burnt false"]), known=s["harm known"],
        harmed=s["harm told"], tone=f"{s['tone off']:.1f}", worst=worst(rows), table=table(rows),
        rings=ring["steps"], ring=_percent(ring.get("within 5", np.nan)),
        tilted=_percent(tilted.get("within 5", np.nan)),
        seconds=f"{np.median(seconds):.1f}", slowest=f"{max(seconds):.1f}",
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


PAGE = """# Grading by photo, against made photos

Run: `python benchmarks/grading.py --seed {seed} --photos {photos} --write`. The constants of the grader were chosen on
seeds 0 and 1 of the same maker (its first version), three on seed 3, and one after a look at seed 2, whose false harm
was 16 %. In how many bands a sample is held against itself follows from the width of a joint of mortar and was tried on
seeds 11 and 12, after the page of seed 4 had named the worst pairs. None was chosen on seed {seed}, which was run once.

The whole chain: the printed sheet on a made piece, a made phone's JPEG of 12 megapixels, straight or 20° aslant, then
found, flattened and graded. {steps} steps on {pairs} pairs of coating and substrate, eight steps a photo from untouched
to clean, about half of them with a tint, a hot edge or burnt spots. `tests/made` makes them; it shares no code and no
constants with the grader. All woods, metals and films are procedural, their numbers invented; only *real wall* and
*real gravel* are photographs that ship in a registry package. No real photo of a cleaned patch was at hand; expect
worse from one.

- {told} of {steps} steps were told; the others were left to the eye.
- Share left: 95 of 100 steps are within {p95} points, {within} within 5 points (the aim: 95 %); {tilted} at 20°.
  {honest} lie within two of the grader's own standard errors (95 % would be right).
- {rings} patches did not fill their window; inside the untouched rim {ring} are within 5 points.
- Residue grade: {right} right, {near} right or one beside.
- Harm was told on {harmed} of {known} steps that show enough ground. Of harmed steps {missed} were called none; of
  unharmed ones {false} were called harmed, {burnt} burnt. The others were left to the eye, each with a sentence why.
  Half the tones lie within {tone} CIEDE2000 of the truth.
- From the file to the grades: {seconds} s of one core at the median, {slowest} s at most.
- More than one step in twenty off by over 5 points: {worst}.

What it cannot do: tell residue along the window's own side from a patch that does not fill it (it counts as
untouched, and says so); tell a brown varnish on dark wood from wood that was tinted as dark; tell brick from brick by
one sample of each; see a tint where the ground itself varies as much; tell char from a coating as dark, or from pits of
rust; see harm under what is still covered. It says so where it knows (the warnings), widens the error, and leaves harm
to the eye.

{table}

Residue grade, steps:

{residue}

Harm grade, steps. True harm is judged on open ground, the worst grade over at least 0.1 % of it and 0.4 mm²:

{harm}

code {code}
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "--seed", type=int, default=SEED, help="0 to 4, 11 and 12 were looked at, others are for figures"
    )
    parser.add_argument("--photos", type=int, default=1, help="of each pair")
    parser.add_argument("--kept", type=Path, help="folder that keeps what is judged, pair by pair")
    parser.add_argument("--write", action="store_true", help="write docs/photos-grading.md")
    parser.add_argument("--each", action="store_true", help="print every step")
    said = parser.parse_args()
    start = time.perf_counter()
    rows = run(said.seed, photos=said.photos, kept=said.kept)
    for r in rows if said.each else ():
        s = r.seen
        print(r.pair, f"{r.left:.3f}", s.fraction_left, s.fraction_error, r.harm, s.harm, r.tone, s.tone, s.warnings)
    text = page(rows, said.seed, said.photos)
    print(text)
    if said.write:
        (Path(__file__).parents[1] / "docs" / "photos-grading.md").write_text(text, encoding="utf-8")
    print(f"{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
