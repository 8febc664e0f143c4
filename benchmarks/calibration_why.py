"""Where `calibration` was off and by what: the surprises of kept answers, with what the simulator and the model saw.

Run: python benchmarks/calibration_why.py FILE...     of answers `calibration` kept; for building seeds only

The closed forms are asked of the truth's own numbers too. Where they are right there and the forecast was not, the
belief is off or too narrow in a number of the piece; where they are wrong there as well, the physics is.
"""

from __future__ import annotations

import json
import math
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import calibration_score as score
import numpy as np
from calibration_truth import PIECES, piece_of, rng_of
from simulator_truth import Truth, draw_truth

import proofpatch as pp
from proofpatch.learn.assumptions import assumption
from proofpatch.learn.grading import CLEAN_EDGE
from proofpatch.learn.kernels import outcomes
from proofpatch.learn.rows import WORST_AREA, setting_rows
from proofpatch.physics import rows as at
from proofpatch.physics.elementwise import normal_cdf
from proofpatch.physics.outcome import CLOCKS

Asked = dict[str, Any]
NEVER = 1e6  # K; a limit that is not there
SURPRISED = 0.15  # chance given to what came, below which it is a surprise


def model_rows(truth: Truth) -> tuple[Any, Any, Any]:
    """(layer, substrate, hand) rows of the truth's own numbers, the model's errors put at none."""
    film, ground, hand = truth.film, truth.ground, truth.hand
    soaks = film.softening if ground.porous and math.isfinite(film.softening) else NEVER
    layer = np.array(
        [[[
            film.thickness, film.spread, film.absorption, film.reflectance, film.threshold, film.width_exponent,
            film.depth, film.incubation, film.decomposition, film.bond, film.toughness, film.residual_heat, film.plume,
            film.heat_capacity, film.conductivity, soaks, film.soak_share,
        ]]]
    )  # fmt: skip
    sub = np.array(
        [[
            ground.absorptance, ground.skin_share, ground.skin_depth, max(ground.diffuse_depth, 1e-5),
            ground.heat_capacity, ground.conductivity, ground.thickness, ground.flash_limit, ground.flash_width,
            ground.flash_exponent, min(ground.melting, NEVER), ground.ln_frequency, ground.activation,
            min(ground.heat_limit, NEVER), ground.gas_conversion, ground.gas_onset, 0.0, NEVER, ground.streaks,
            1.0, 1.0, 1.0, 1.0, 1.0, 0.3, *[0.0] * 6,
        ]]
    )  # fmt: skip
    return layer, sub, np.array([hand.speed_spread, hand.stand_off_spread, hand.stop_seconds, WORST_AREA])


def model_says(truth: Truth, setting: pp.Setting) -> list[float]:
    """(log need, spread, margin, clock, light, depth of a pass) of the closed forms on the truth's own numbers."""
    layer, sub, hand = model_rows(truth)
    row = setting_rows([setting], truth.laser)
    row[0, at.POWER] *= truth.power / truth.laser.power_factor
    row[0, at.TOP_HAT] = truth.top_hat_share
    return [float(a[0, 0]) for a in outcomes(layer, sub, row, hand, 0)]


def steepness(truth: Truth, setting: pp.Setting, step: float = 1.1) -> float:
    """d ln(need)/d ln(hand's speed) of the closed forms: 1 where only dose counts, more where heat or hits do."""
    slow, fast = (setting.with_(travel_speed=setting.travel_speed * s) for s in (1 / step, step))
    return (model_says(truth, fast)[0] - model_says(truth, slow)[0]) / (2.0 * math.log(step))


def model_knows(truth: Truth, setting: pp.Setting) -> tuple[float, float, str]:
    """(P(clean), P(harm), clock) of the closed forms where every number of the piece, hand and laser is known."""
    need, spread, margin, clock, _, _ = model_says(truth, setting)
    noise = assumption("setting_noise").value
    clean = float(normal_cdf((CLEAN_EDGE * spread - need) / noise))
    return clean, float(normal_cdf(-margin / noise)), CLOCKS[int(clock)]


def why_left(seen: dict[str, Any]) -> str:
    """How a surface falls short of clean."""
    if seen["covered"] <= 0.01:
        return "clean"
    if seen["removed"] < 0.05:
        return "nothing leaves"
    if seen["covered"] > 0.5:
        return "dose short" if seen["removed"] > 0.3 else "hardly thinned"
    worst = max(seen["places"], key=lambda place: place[1] * place[2])
    return f"{'islands' if seen['covered'] < 0.1 else 'patchy'}, {words_of(seen['places'], worst)}"


def why_harmed(truth: Truth, seen: dict[str, Any]) -> str:
    """By what a surface was harmed: pulse, reaction or lasting heat; where; and how wide."""
    limit, found = truth.ground.heat_limit, []
    for place in seen["places"]:
        _, _, _, converted, flash, lasting = place
        ratios = {"pulse": flash, "reaction": -math.expm1(-converted) / 0.01, "lasting heat": lasting / limit}
        cause = max(ratios, key=lambda name: ratios[name])
        found.append((ratios[cause], cause, words_of(seen["places"], place)))
    harmed = [place for place in found if place[0] >= 1.0] or [max(found)]
    small = seen["tinted"] <= 0.001
    wide = "" if not small else ", only as a mark over 3 mm" if seen["mark"] > 3e-3 else ", harmless"
    where = "everywhere" if len(harmed) == len(found) else " and ".join(dict.fromkeys(place[2] for place in harmed))
    return f"{max(harmed)[1]} {max(harmed)[0]:.2g} of its limit, {where}{wide}"


def words_of(places: list[Any], place: list[Any]) -> str:
    """slow stroke, slower half, faster half or overlap: `simulator.FEWER` in its order."""
    if place[0] != "middle":
        return str(place[0])
    return ("slow stroke", "slower half", "faster half")[min(places.index(place), 2)]


def knobs(setting: pp.Setting) -> str:
    """A setting in a few words."""
    return (
        f"{setting.average_power:.0f} W {setting.repetition_rate / 1e3:.0f} kHz {setting.pulse_width * 1e9:.0f} ns "
        f"{setting.travel_speed * 1e3:.0f} mm/s x{setting.passes}"
    )


def ratio(truth: Truth, setting: pp.Setting) -> float:
    """Mean fluence of a pulse over the film's threshold after a hundred hits."""
    film = truth.film
    fluence = setting.average_power * truth.power / setting.repetition_rate / (math.pi * setting.spot_radius**2)
    threshold = film.threshold * (setting.pulse_width / 1e-7) ** film.width_exponent * 100.0 ** (film.incubation - 1)
    return float(fluence / threshold)


def surprises(entry: Asked) -> list[str]:
    """A line for each question whose answer had a small chance, by the forecast or by the model that knows all."""
    truth = draw_truth(*piece_and_laser(entry["seed"]), rng_of(entry["seed"], 0))
    coating, _, ground, _ = PIECES[entry["piece"]]
    lines = []
    for q in entry["asked"]:
        setting, seen = pp.Setting(**q["setting"]), q["seen"]
        known_clean, known_harm, clock = model_knows(truth, setting)
        for name, chance, knew, came in (
            ("clean", q["p_clean"], known_clean, q["clean"]),
            ("harm", q["p_harm"], known_harm, q["harmed"]),
        ):
            told, could = (p if came else 1.0 - p for p in (chance, knew))
            if min(told, could) >= SURPRISED:
                continue
            at_fault = "both" if max(told, could) < SURPRISED else "forecast" if told < SURPRISED else "physics"
            why = why_left(seen) if name == "clean" else why_harmed(truth, seen)
            clear = f"covered {seen['covered']:.3f} removed {seen['removed']:.2f}"
            cells = (
                f"{name} {'too kind' if came == (name == 'harm') else 'too careful'}",
                at_fault,
                f"{entry['seed']} {coating} on {ground}, {entry['laser']}, {q['stage']}",
                f"{knobs(setting)}, {ratio(truth, setting):.2g} thresholds, steep {steepness(truth, setting):.1f}",
                f"{chance:.3f} (before {q['first_' + name]:.2f}; knowing all {knew:.2f}, {clock}) came {came}",
                f"{why}; {clear} tinted {seen['tinted']:.4f} mark {seen['mark'] * 1e3:.1f} mm",
            )
            lines.append(" | ".join(cells))
    return lines


def piece_and_laser(seed: int) -> tuple[pp.Surface, Any]:
    """As `piece_of`, with the laser itself."""
    surface, laser = piece_of(seed)
    return surface, pp.laser(laser)


def physics_table(entries: list[Asked]) -> list[str]:
    """The closed forms on the truths' own numbers against the verdicts: what no knowledge of the piece would mend."""
    lines = []
    for name, came_name, which in (("P(clean)", "clean", 0), ("P(harm)", "harmed", 1)):
        told: dict[str, list[tuple[float, float, bool]]] = {}
        for entry in entries:
            truth = draw_truth(*piece_and_laser(entry["seed"]), rng_of(entry["seed"], 0))
            for q in entry["asked"]:
                clean, harm, _ = model_knows(truth, pp.Setting(**q["setting"]))
                known, asked = ((clean, q["p_clean"]), (harm, q["p_harm"]))[which]
                for group in (entry["class"], "all", f"all, knowing all {'says yes' if known > 0.5 else 'says no'}"):
                    told.setdefault(group, []).append((asked, known, q[came_name]))
        for group, rows in told.items():
            forecast, model, came = (np.array(column) for column in zip(*rows, strict=True))
            losses = [score.log_losses(p, came).mean() for p in (forecast, model)]
            lines.append(
                f"{name} {group}: {len(came)} questions, forecast {forecast.mean():.3f}, "
                f"knowing all {model.mean():.3f}, came {came.mean():.3f}; "
                f"log score {losses[0]:.2f}, knowing all {losses[1]:.2f}"
            )
    return lines


def main(files: list[str]) -> None:
    texts = [Path(name).read_text(encoding="utf-8") for name in files]
    entries = [json.loads(line) for text in texts for line in text.splitlines() if line.endswith("}")]
    lines = [line for entry in entries for line in surprises(entry)]
    print("\n".join(sorted(lines)))
    print("\n".join(physics_table(entries)))
    print(Counter(" | ".join(line.split(" | ")[:2]) for line in lines))


if __name__ == "__main__":
    main(sys.argv[1:])
