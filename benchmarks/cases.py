"""Published cleaning cases asked of the model before any patch, scored against base rates.

Run: python benchmarks/cases.py [FILE] [--draws 128] [--seed 0] [--write]

FILE is any CSV with the columns of benchmarks/cases.csv (the default, copied with its citations). A case prints some of
its inputs; the rest are drawn from `cases_fill.toml`, which was written before the first scoring run and is frozen.
"""

from __future__ import annotations

import argparse
import hashlib
import math
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from cases_fill import FILL_INS, fill_ins, rows_of
from cases_read import CASES, FILL, Case, LeftOut, fill, fill_digest, read_cases
from numpy.typing import NDArray
from stamp import DOCS, covers, stamp

import proofpatch as pp
from proofpatch.errors import InputError
from proofpatch.learn.assumptions import assumption
from proofpatch.learn.grading import harm_chance, residue_chance
from proofpatch.learn.rows import hand_row
from proofpatch.physics.outcome import CLOCKS, beam_of, surface_outcome
from proofpatch.physics.rows import GRADER, THICKNESS

Floats = NDArray[np.float64]
DRAWS_EACH = 64  # of the belief, to a fill-in
MOST_NEED = 50.0  # ln; shown only, beyond it nothing comes off
# What the words say happened. A rest of coating hides the substrate; "damaged" says nothing of the coating.
CLEAN = {"clean": True, "clean_marked": True, "partial": False, "no_effect": False, "damaged": None}
HARM = {"clean": False, "clean_marked": True, "partial": None, "no_effect": None, "damaged": True}
JOINT = {"clean": 0, "clean_marked": 1, "partial": 2, "no_effect": 2, "damaged": None}
JOINT_WORDS = ("clean without harm", "clean with harm", "not clean")


# ---- Asking ----


@dataclass(frozen=True)
class Asked:
    """What the model says of one case.

    p_clean, p_harm, joint (in the order of JOINT_WORDS): predictive probabilities. *_range: 5 and 95 % over fill-ins,
    of the mean over the belief. need, margin, fluence: medians (dose needed over given; ln room to harm; mean, J/m²).
    clock: what governs most draws' harm, with its share.
    """

    case: Case
    p_clean: float
    p_harm: float
    joint: tuple[float, float, float]
    clean_range: tuple[float, float]
    harm_range: tuple[float, float]
    need: float
    margin: float
    fluence: float
    clock: tuple[str, float]


def ask(case: Case, count: int = FILL_INS, seed: int = 0) -> Asked:
    """The prior's predictive probability of what a grader would say of the coupon, over belief and fill-ins.

    Raises:
        InputError: no fill-in makes a setting the model takes.
    """
    values = fill_ins(case, count, seed)
    kept, rows = rows_of(values)
    coupon = fill()["coupon"]
    hand = pp.Hand(speed_spread=coupon["speed_spread"], stand_off_spread=coupon["stand_off_spread_mm"] * 1e-3)
    belief = pp.prior(case.surface, "pulsed-500", hand, seed=seed, draws=len(kept) * DRAWS_EACH)
    layer, sub = belief.layer.copy(), belief.substrate
    for i in range(layer.shape[1]):
        if f"thickness {i}" in values:
            layer[:, i, THICKNESS] = np.tile(values[f"thickness {i}"][kept], DRAWS_EACH)
    columns = np.tile(rows, (DRAWS_EACH, 1)).T
    row = hand_row(hand, patch=True)
    need, spread, margin, clock, _, _ = surface_outcome(
        np.moveaxis(layer, 0, -1), sub.T, columns, beam_of(columns, row), row, layer.shape[1] - 1
    )
    if not np.isfinite([need, spread, margin]).all():
        raise InputError("setting", "The closed forms give no number there.", "Check the printed values.")
    noise = np.sqrt(assumption("setting_noise").value ** 2 + sub[:, GRADER] ** 2)
    wrong = assumption("wrong_grade").value
    clean = residue_chance(0, need, spread, noise, wrong)
    none = harm_chance(0, margin, noise, wrong)
    both = float(np.mean(clean * none))
    p_clean = float(np.mean(clean))
    by_clock = np.bincount(np.asarray(clock, dtype=np.int64), minlength=len(CLOCKS))
    return Asked(
        case, p_clean, float(np.mean(1.0 - none)), (both, p_clean - both, 1.0 - p_clean),
        _ends(clean), _ends(1.0 - none), math.exp(min(float(np.median(need)), MOST_NEED)), float(np.median(margin)),
        float(np.median(values["mean"])), (CLOCKS[int(by_clock.argmax())], float(by_clock.max() / by_clock.sum())),
    )  # fmt: skip


def _ends(chance: Floats) -> tuple[float, float]:
    """5 and 95 % over the fill-ins of the mean over the belief."""
    low, high = np.quantile(chance.reshape(DRAWS_EACH, -1).mean(axis=0), [0.05, 0.95])
    return float(low), float(high)


def ask_all(path: Path, count: int = FILL_INS, seed: int = 0) -> tuple[list[Asked], list[LeftOut]]:
    """Every row of a file asked, or why it was not."""
    cases, left = read_cases(path)
    asked = []
    for case in cases:
        try:
            asked.append(ask(case, count, seed))
        except InputError as trouble:
            left.append(LeftOut(case.id, f"what is printed makes no setting the model takes: {trouble}"))
    return asked, left


# ---- Scores ----


def base_rates(came: NDArray[np.int64], kinds: int) -> Floats:
    """(cases, kinds): share of each kind among the other cases, one added to every count."""
    counts = np.bincount(came, minlength=kinds)
    own = np.eye(kinds)[came]
    return np.asarray((counts - own + 1.0) / (len(came) - 1 + kinds))


def log_scores(forecast: Floats, came: NDArray[np.int64]) -> Floats:
    """ln p of what came, in nats (Good, J. R. Stat. Soc. B 14 (1952) 107); 0 is best."""
    return np.asarray(np.log(np.maximum(forecast[np.arange(len(came)), came], 1e-12)))


def brier_scores(forecast: Floats, came: NDArray[np.int64]) -> Floats:
    """Σ over kinds (p − o)² (Brier, Mon. Weather Rev. 78 (1950) 1); 0 is best, 2 worst."""
    return np.asarray(((forecast - np.eye(forecast.shape[1])[came]) ** 2).sum(axis=1))


def paired(gain: Floats, groups: Sequence[str]) -> tuple[float, float, float]:
    """(mean, standard error, the same where cases of one study count as one).

        SE = s/√n,   SE_study = √( G/(G−1) Σ_g (Σ_{i∈g} (d_i − d̄))² ) / n                   (1)

    Source: the second, the cluster-robust variance of a mean (textbook result, from memory).
    """
    n = len(gain)
    if n < 2:
        return float(gain.mean()) if n else math.nan, math.nan, math.nan
    off = gain - gain.mean()
    sums = [float(off[[g == name for g in groups]].sum()) for name in sorted(set(groups))]
    many = len(sums)
    clustered = math.sqrt(many / (many - 1) * sum(s * s for s in sums)) / n if many > 1 else math.nan
    return float(gain.mean()), float(gain.std(ddof=1) / math.sqrt(n)), clustered


def score(asked: Sequence[Asked]) -> dict[str, dict[str, Any]]:
    """Per event and jointly: mean scores of model and base rates, and the gain with its standard errors."""
    tables: dict[str, tuple[list[tuple[float, ...]], Mapping[str, int | None]]] = {
        "clean": ([(1.0 - a.p_clean, a.p_clean) for a in asked], CLEAN),
        "harm": ([(1.0 - a.p_harm, a.p_harm) for a in asked], HARM),
        "jointly": ([a.joint for a in asked], JOINT),
    }
    found = {}
    for event, (forecasts, meaning) in tables.items():
        use = [i for i, a in enumerate(asked) if meaning[a.case.outcome] is not None]
        if not use:
            continue
        forecast = np.array([forecasts[i] for i in use])
        came = np.array([int(meaning[asked[i].case.outcome] or 0) for i in use], dtype=np.int64)
        base = base_rates(came, forecast.shape[1])
        groups = [asked[i].case.source for i in use]
        log, base_log = log_scores(forecast, came), log_scores(base, came)
        brier, base_brier = brier_scores(forecast, came), brier_scores(base, came)
        found[event] = {
            "cases": len(use), "came": np.bincount(came, minlength=forecast.shape[1]).tolist(),
            "log": float(log.mean()), "base log": float(base_log.mean()), "gain log": paired(log - base_log, groups),
            "brier": float(brier.mean()), "base brier": float(base_brier.mean()),
            "gain brier": paired(base_brier - brier, groups),
        }  # fmt: skip
    return found


# ---- Telling ----


def _with_errors(gain: tuple[float, float, float]) -> str:
    mean, *errors = gain
    plain, by_study = (f"{e:.3f}" if math.isfinite(e) else "unknown" for e in errors)
    return f"{mean:+.3f} ± {plain} ({by_study})"


def score_lines(asked: Sequence[Asked]) -> list[str]:
    """The scores as a table."""
    lines = [
        "| event | cases | log score | base rates | gain ± se (by study) | Brier | base rates | gain ± se (by study) |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for event, s in score(asked).items():
        counts = ", ".join(str(n) for n in s["came"])
        lines.append(
            f"| {event} | {s['cases']} ({counts}) | {s['log']:.3f} | {s['base log']:.3f} | "
            f"{_with_errors(s['gain log'])} | {s['brier']:.3f} | {s['base brier']:.3f} | "
            f"{_with_errors(s['gain brier'])} |"
        )
    return lines


def case_lines(asked: Sequence[Asked]) -> list[str]:
    """What was said of each case."""
    lines = [
        "| id | surface | outcome | P(clean), over fill-ins | P(harm), over fill-ins | mean fluence J/cm² | need | "
        "room | governs | ln p |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    for a in asked:
        kind = JOINT[a.case.outcome]
        p = a.p_harm if kind is None else a.joint[kind]
        lines.append(
            f"| {a.case.id} | {a.case.words} | {a.case.outcome} | {a.p_clean:.2f} ({a.clean_range[0]:.2f}–"
            f"{a.clean_range[1]:.2f}) | {a.p_harm:.2f} ({a.harm_range[0]:.2f}–{a.harm_range[1]:.2f}) | "
            f"{a.fluence / 1e4:.2g} | {a.need:.2g} | {a.margin:+.2f} | {a.clock[0]} {a.clock[1]:.0%} | "
            f"{math.log(max(p, 1e-12)):.2f} |"
        )
    return lines


def cases_digest() -> str:
    """Of the cases, the fill-ins and this code."""
    seal = hashlib.sha256()
    for path in (CASES, FILL, *(Path(__file__).with_name(f"{n}.py") for n in ("cases", "cases_fill", "cases_read"))):
        seal.update(path.read_bytes())
    return seal.hexdigest()[:16]


def all_covered() -> str:
    """The code this study is good for."""
    return f"{covers()}, cases {cases_digest()}"


ABOUT = """The rows of `benchmarks/cases.csv` are published cases of cleaning with a pulsed laser, read in abstracts and
tables, hardly ever in full text. Each that prints enough is asked of the belief before any patch: what would a grader
say of this coupon? What the paper does not print is drawn from `benchmarks/cases_fill.toml` ({fills} fill-ins a case,
{draws} draws of the belief to each). **The fill-in ranges and the reading of words were written before the first
scoring run and are frozen**; sha256 of the file:

`{digest}`

A coupon under a scanner is not a day's work by hand: speed ±{speed:.0%}, stand-off {stand_off:g} mm, no stops, judged
as a small patch. The range over fill-ins says how much of a chance hangs on what was not printed.

A row is asked if its coating and substrate have a counterpart in the model, its laser works near 1 µm with pulses of 1
to 1100 ns (or does not say), and it prints a fluence, a pulse energy or an average power.

| outcome | coating | substrate | jointly |
|---|---|---|---|
| clean | clean | no harm | clean without harm |
| clean_marked | clean | harm | clean with harm |
| partial, no_effect | not clean | not seen under the rest | not clean |
| damaged | not said | harm | not scored |

*Clean* is the grade clean (at most 1 % still covered), *harm* any grade from tint up, both with the grader's noise and
wrong grades (`learn.grading`). Log score: ln of the chance of what came (Good 1952); Brier: sum over the kinds of the
squared difference (Brier 1950, so twice the one-sided form for two kinds). Base rates are those of the other cases, one
added to every count; they know which outcomes papers report, the model does not. A gain above zero is in the model's
favour. Cases of one study are not independent: the second standard error counts each study once. Authors publish
optima, and words such as *clean* are theirs: steel melted 1 to 5 µm deep is called clean by some, marked by others."""


def page(asked: Sequence[Asked], left: Sequence[LeftOut], words: str) -> str:
    """The study as it is kept."""
    coupon = fill()["coupon"]
    about = ABOUT.format(
        fills=FILL_INS, draws=DRAWS_EACH, digest=fill_digest(), speed=coupon["speed_spread"],
        stand_off=coupon["stand_off_spread_mm"],
    )  # fmt: skip
    lines = [
        "# Published cases, asked of the model", "", about, "", f"{stamp(words)[:-1]}, cases {cases_digest()}.", "",
        "## Scores", "", "Cases in brackets: how often each kind came, no before yes.", "", *score_lines(asked), "",
        "## Case by case", "",
        "Medians over belief and fill-ins: mean fluence of a pulse, *need* (dose needed over given, clean well",
        "under 1), *room* (ln of the factor left to the first tint; under 0 is harm). ln p is of the joint kind that",
        "came.", "",
        *case_lines(asked), "", f"## Left out ({len(left)})", "", *left_lines(left), "",
    ]  # fmt: skip
    return "\n".join(lines)


def left_lines(left: Sequence[LeftOut]) -> list[str]:
    """Every row that was not asked, and why."""
    return [f"- {entry.id}: {entry.reason}." for entry in sorted(left, key=lambda e: e.id)]


def main() -> None:
    parser = argparse.ArgumentParser(description="Published cases asked of the model and scored.")
    parser.add_argument("file", nargs="?", type=Path, default=CASES)
    parser.add_argument("--draws", type=int, default=FILL_INS, help="fill-ins a case")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--write", action="store_true", help="write docs/cases.md")
    given = parser.parse_args()
    if given.write and (given.file != CASES or given.draws != FILL_INS):
        parser.error("--write keeps the study of the default file and draws only")
    started = time.process_time()
    asked, left = ask_all(given.file, given.draws, given.seed)
    print("\n".join([*case_lines(asked), "", *left_lines(left), "", *score_lines(asked)]))
    print(f"{time.process_time() - started:.0f} s of processor time")
    if given.write:
        DOCS.joinpath("cases.md").write_text(page(asked, left, f"Seed {given.seed}"), encoding="utf-8")


if __name__ == "__main__":
    main()
