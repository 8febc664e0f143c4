"""What the faces show of each answer, as plain records with unit-suffixed keys.

The command line shows them and, later, HTTP and the documents; text and JSON come from the same record.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from proofpatch.hazards import CAUTIONS
from proofpatch.lasers import Laser
from proofpatch.learn.assumptions import assumptions
from proofpatch.learn.belief import Belief, prior
from proofpatch.learn.evidence import Graded
from proofpatch.learn.forecast import Window, area_rate, forecast
from proofpatch.learn.recipe import Recipe
from proofpatch.learn.stopping import Worth
from proofpatch.learn.surprise import expected, surprises
from proofpatch.offer.hours import Hours
from proofpatch.physics import beam, pulses, sweep
from proofpatch.physics.setting import Setting
from proofpatch.shop.log import UNIT_KEYS, setting_to
from proofpatch.sources import STATUS, Datum, cite
from proofpatch.units import show

MARGIN_KEYS = {
    "average_power": "average_power_W", "repetition_rate": "repetition_rate_Hz", "travel_speed": "travel_speed_m_s",
    "sweep_width": "sweep_width_m", "stand_off": "stand_off_m",
}  # fmt: skip
HOURS_QUANTILES = (10, 50, 90)
FEW_DRAWS = 0.25  # of all draws effective: below this the belief is said to be thin (common practice, no source)


def bench_record(
    setting: Setting, top_hat_share: float, assumed: Sequence[str] = (), power_factor: float = 1.0
) -> dict[str, Any]:
    """Pulse, overlap and dose of one setting; every figure from physics.

    assumed: knobs that were not given. power_factor: of the dialled power arrives at the work [1].
    """
    s, power = setting, setting.average_power * power_factor
    energy = pulses.pulse_energy(power, s.repetition_rate)
    diameter = 2 * s.spot_radius
    pitch = sweep.pulse_pitch(s.sweep_speed, s.repetition_rate)
    line = sweep.line_pitch(s.travel_speed, s.sweep_width, s.sweep_speed)
    figures = {
        "pulse_energy_J": energy,
        "peak_power_W": pulses.peak_power(energy, s.pulse_width),
        "mean_fluence_J_m2": beam.mean_fluence(energy, s.spot_radius),
        "peak_fluence_J_m2": beam.peak_fluence(energy, s.spot_radius, top_hat_share),
        "pulse_pitch_m": pitch,
        "pulse_overlap": sweep.linear_overlap(pitch, diameter),
        "line_pitch_m": line,
        "line_overlap": sweep.linear_overlap(line, diameter),
        "pulses_per_m2": sweep.pulses_per_area(s.repetition_rate, s.sweep_width, s.travel_speed, s.passes),
        "dose_J_m2": sweep.mean_dose(power, s.sweep_width, s.travel_speed, s.passes),
        "area_rate_m2_s": sweep.area_rate(s.sweep_width, s.travel_speed, s.passes),
    }
    return {
        **{key: float(value) for key, value in figures.items()},
        "setting": setting_to(s),
        "top_hat_share": top_hat_share,
        "power_factor": power_factor,
        "assumed": [UNIT_KEYS[knob] for knob in assumed],
        "cautions": list(CAUTIONS),
    }


def sides_record(sides: Sequence[Any]) -> dict[str, Any]:
    """The contract's keys of a bench's first side, the second under `against`, their ratios, what limits what."""
    from proofpatch.bench import ratios

    first = sides[0]
    return {
        **first.record,
        "against": sides[1].record if len(sides) > 1 else None,
        "ratios": ratios(*sides) if len(sides) > 1 else {},
        "limits": list(first.limits),
    }


def sources_of(data: Iterable[Datum]) -> list[str]:
    """Each distinct source once, published first, "from memory, unverified" last."""
    lines = {cite(datum): datum.status for datum in data}
    return sorted(lines, key=lambda line: (STATUS.index(lines[line]), line))


def assumptions_of(belief: Belief) -> list[str]:
    """What was assumed, in words; every figure from the belief."""
    s, laser, hand = belief.surface, belief.laser, belief.hand
    memory = sum(1 for datum in belief.data if datum.status == "memory")
    strokes = (
        "strokes start and end on a mask or off the piece"
        if hand.starts == "mask"
        else f"strokes may stand still for {show(hand.stop_seconds, 'duration')} on the piece, beam on"
    )
    lines = [
        f"Laser: {laser.title}, spot {show(2 * laser.spot_radius, 'spot')}, top-hat share "
        f"{show(laser.top_hat_share, 'share')}, in focus unless said.",
        *(f"Laser as measured: {said}." for said in laser.measured),
        f"Hand: speed ±{show(hand.speed_spread, 'share')}, stand-off ±{show(hand.stand_off_spread, 'length')} "
        f"(one standard deviation), {strokes}.",
        f"{memory} of the {len(belief.data)} values behind this are from memory, unverified; wide ranges are drawn "
        "for them.",
        "The formulas are quick ones; how far they may be off is part of every chance.",
        "Passes follow each other without cooling; coating in pores, pits and joints is not counted.",
    ]
    for i, coat in enumerate(s.coats):
        if coat.thickness is None:
            lines.append(f"The thickness of layer {i} ({coat.title}) was not measured: drawn from the data.")
        if "unknown" in (coat.colour, coat.condition) and len(coat.mixture()) > len(coat.shares):
            lines.append(f"Colour or condition of layer {i} ({coat.title}) is not known: a mixture of what it may be.")
    if s.substrate_thickness is None:
        lines.append("The substrate's thickness was not measured: drawn from the data.")
    if belief.effective_draws < FEW_DRAWS * belief.draws:
        fit = f"Of {belief.draws} pieces that this may be, about {belief.effective_draws:.0f} still fit the patches"
        lines.append(f"{fit}: the chances are rough.")
    return lines


def without_top_layer(window: Window) -> float | None:
    """The chance with the top layer off by other means; None for a single layer or a job worth it anyway."""
    belief = window.belief
    coats = belief.surface.coats
    if len(coats) < 2 or window.answer == "worth it" or belief.evidence:
        return None
    rest = replace(belief.surface, layers=coats[1:])
    return forecast(prior(rest, belief.laser, belief.hand, seed=belief.seed), window.limits).chance


def forecast_record(window: Window, chance_without_top: float | None = None) -> dict[str, Any]:
    """The contract's keys of a forecast."""
    i = window.best
    return {
        "answer": window.answer,
        "chance": window.chance,
        "chance_without_top_layer": chance_without_top,
        "because": window.because,
        "best": {
            "setting": setting_to(window.settings[i]),
            "p_clean": float(window.p_clean[i]),
            "p_harm": float(window.p_harm[i]),
            "area_rate_m2_s": float(window.area_rate[i]),
            "inside_limits": bool(window.admissible[i]),
        },
        "assumptions": assumptions_of(window.belief),
        "sources": sources_of((*window.belief.data, *assumptions().values())),
        "cautions": list(CAUTIONS),
    }


def patches_record(worth: Worth, window: Window) -> dict[str, Any]:
    """The contract's keys of a strip, and whether it pays; with `because` where there is none to lay."""
    record: dict[str, Any] = {
        "patches": [
            {"setting": setting_to(p.setting), "p_clean": p.p_clean, "p_harm": p.p_harm, "because": p.because}
            for p in worth.strip
        ],
        "cautions": list(CAUTIONS),
        "answer": window.answer,
        "chance": window.chance,
        "pays": worth.pays,
        "seconds_saved_s": worth.seconds_saved,
        "seconds_spent_s": worth.seconds_spent,
        "chance_of_recipe": worth.chance_of_recipe,
        "pays_because": worth.because,
        "strips_to_even_odds": strips_to_even_odds(worth.chance_of_recipe),
    }
    record["more"] = more_words(record["strips_to_even_odds"], worth)
    if not worth.strip:
        record["because"] = (
            "No patch is worth laying: none that goes only a step past what the gentler ones have shown keeps its "
            f"harm within the {show(worth.risk, 'share')} a patch may risk there."
        )
    return record


MOST_STRIPS = 50  # more than anybody would lay (our choice)


def strips_to_even_odds(chance: float) -> int | None:
    """After how many strips, each as likely as this one to lead to a recipe, half of such jobs have one; None: never.

        n = ⌈ln ½ / ln(1 − p)⌉                                                          (1)

    Source: the geometric distribution's median. That p stays is an assumption: a strip teaches, so later ones differ.
    """
    if chance <= 1.0 - 0.5 ** (1.0 / MOST_STRIPS):
        return None
    return 1 if chance >= 0.5 else math.ceil(math.log(0.5) / math.log1p(-chance))  # (1)


def more_words(strips: int | None, worth: Worth) -> str:
    """How many more strips are likely, in words."""
    if not worth.pays or not worth.strip:
        return "No further strip is likely to pay."
    if strips is None:
        return f"How many more strips it takes cannot be said; more than {MOST_STRIPS} are no plan."
    said = "one more strip" if strips == 1 else f"{strips} more strips"
    return f"Half of such jobs have a recipe after {said}, if each finds one as often as the next."


def recipe_record(recipe: Recipe, hours: Hours | None = None) -> dict[str, Any]:
    """The contract's keys of a recipe; hours as quantiles where zones were given."""
    record = {
        "setting": setting_to(recipe.setting) if recipe.setting else None,
        "because": recipe.because,
        "governs": recipe.governs,
        "p_clean": recipe.p_clean,
        "p_harm": recipe.p_harm,
        "area_rate_m2_s": recipe.area_rate,
        "margins": {MARGIN_KEYS[knob]: list(ends) for knob, ends in recipe.margins.items()},
        "gentler": setting_to(recipe.gentler) if recipe.gentler else None,
        "gentler_area_rate_m2_s": area_rate(recipe.gentler) if recipe.gentler else None,
        "confirmed": recipe.confirmed,
        "binds": recipe.binds,
        "alternatives": [
            {
                "setting": setting_to(a.setting),
                "p_clean": a.p_clean,
                "p_harm": a.p_harm,
                "area_rate_m2_s": a.area_rate,
                "inside_limits": a.holds,
                "because": a.because,
            }
            for a in recipe.alternatives
        ],
        "cautions": list(CAUTIONS),
    }
    if hours:
        record["time_s"] = {f"p{p}": hours.quantile(p / 100) for p in HOURS_QUANTILES}
        record["time_assumes"] = list(hours.drivers)
    return record


def graded_record(log: str, before: Window, after: Window, graded: Graded) -> dict[str, Any]:
    """What one more graded patch taught, and what of the evidence does not fit the rest."""
    return taught_record(log, before, after) | {"expected_chance": expected(before.belief, graded)}


def taught_record(log: str, before: Window, after: Window) -> dict[str, Any]:
    """What graded patches taught, and what of the evidence does not fit the rest."""
    return {
        "written": log,
        "patches": len(after.belief.evidence),
        "chance_before": before.chance,
        "chance": after.chance,
        "answer": after.answer,
        "because": after.because,
        "effective_draws": after.belief.effective_draws,
        "surprises": [found.because for found in surprises(after.belief)],
    }


def refusal_record(answer: str, why: str) -> dict[str, Any]:
    """A refusal by the first hard stop, in the shape of the answer it stands for: forecast, patch, grade or recipe."""
    if answer == "forecast":
        none = {"answer": "decline", "chance": 0.0, "because": why, "best": None, "assumptions": [], "sources": []}
        return {**none, "cautions": list(CAUTIONS)}
    if answer == "patch":
        return {"patches": [], "because": why, "cautions": list(CAUTIONS)}
    if answer == "grade":
        return {"written": None, "because": why}
    nothing = dict.fromkeys(("setting", "governs", "p_clean", "p_harm", "gentler"))
    return {**nothing, "because": why, "area_rate_m2_s": 0.0, "margins": {}, "cautions": list(CAUTIONS)}


def laser_record(laser: Laser) -> dict[str, Any]:
    """A laser as its owner knows it."""
    head = laser.handpiece
    return {
        "id": laser.id,
        "title": laser.title,
        "source": laser.source,
        "wavelength_m": laser.wavelength,
        "max_power_W": laser.max_power,
        "repetition_rate_Hz": [laser.min_rate, laser.max_rate],
        "energy_limits": [
            {"pulse_width_s": width, "max_energy_J": energy, "corner_rate_Hz": laser.corner_rate(width)}
            for width, energy in laser.energy_limits
        ],
        "spot_diameter_m": 2 * laser.spot_radius,
        "m2": laser.m2,
        "top_hat_share": laser.top_hat_share,
        "rayleigh_range_m": laser.rayleigh_range,
        "sweep_width_m": [head.sweep_width_min, head.sweep_width_max],
        "sweep_width_default_m": head.sweep_width_default,
        "sweep_speed_max_m_s": head.sweep_speed_max,
        "sweep_speed_default_m_s": head.sweep_speed_default,
        "stand_off_m": head.stand_off,
        "focus_cue": head.focus_cue,
        "electrical_power_W": laser.electrical_power,
        "supply_voltage_V": laser.supply_voltage,
        "power_factor": laser.power_factor,
    }


def datum_record(datum: Datum) -> dict[str, Any]:
    """A value with its range, its SI unit and where it comes from."""
    return {
        "value": datum.value,
        "low": datum.low,
        "high": datum.high,
        "unit": datum.unit,
        "source": cite(datum),
        "locator": datum.locator,
        "status": datum.status,
    }
