"""What the faces show of hazards, as plain records. Distances are rounded up, limits down, where they become words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from proofpatch.hazards import CAUTIONS
from proofpatch.hazards.beam import BeamHazards
from proofpatch.hazards.checklist import checklist
from proofpatch.hazards.distance import MOST_NUMBER
from proofpatch.hazards.fire import Fire
from proofpatch.hazards.fume import Fume
from proofpatch.hazards.limits import Allowed
from proofpatch.hazards.plan import Plan
from proofpatch.hazards.room import INSIDE, Zone
from proofpatch.phrases import lowered
from proofpatch.sources import sources
from proofpatch.units import show

MOST_SAID = 100_000  # times a limit; what is more is only more
ALWAYS = (
    "Calculated planning value, not a clearance. The laser's class 4 beam, reflections, fume and fire can injure "
    "beyond this estimate. Follow the manufacturer, local law, and a qualified laser safety officer."
)
UNCOVERED = "Stop: as described no protection covers this job: do not start."
MOST_NAMED = 3  # openings or people in one sentence

# What the beam's figures are computed with, as they are shown; diameters and angles are 1/e ones.
FORMULAS = (
    "limit: the least of H(t), H(T)/(f T) and C₅ H(t), times f; of two sets of rules the stricter",
    "K = √(4 P/(π E)), the diameter at which a beam of power P is at the limit E",
    "direct, not focused: (K − a)/φ; beyond the focus of the head: f + (f/b) K",
    "off a matt surface: √(ρ P/(π E)); off a flat shiny one: as direct with ρ P",
    "optical density: log₁₀(P/(A E)), A the area of the pupil",
    "EN 207: D the least n with E F(d) at most 10ⁿ⁺¹ W/m²; I and R with H N^(1/4) at most 5 × 10ⁿ⁻³ J/m²",
)


def rounded_up(value: float, digits: int = 2) -> float:
    """The value with so many digits, never less than it is."""
    if value <= 0.0 or not math.isfinite(value):
        return value
    step = 10.0 ** (math.floor(math.log10(value)) - digits + 1)
    return math.ceil(value / step * (1 - 1e-12)) * step


def beam_record(found: BeamHazards) -> dict[str, Any]:
    """The contract's keys of `hazards`, and what stands behind them."""
    beam = found.beam
    return {
        "answers": list(beam_answers(found)),
        "eye_limit_J_m2_per_pulse": found.eye.per_pulse,
        "eye_limit_W_m2": found.eye.average,
        "governing_rule": found.governing,
        "other_rules": _allowed(found.other),
        "skin_limit_W_m2": found.skin_limit.average,
        "hazard_distance_m": found.distance,
        "mirrored_distance_m": found.mirrored,
        "diffuse_distance_m": found.diffuse,
        "skin_distance_m": found.skin,
        "distance_at_windows_m": found.at_window,
        "lens_missing_distance_m": found.lens_missing,
        "optical_density": found.optical_density,
        "scale_number_D": found.number_steady,
        "scale_number_R": found.number_pulsed,
        "scale_letter": found.pulse_letter,
        "screens": found.screens,
        "beam": {
            "power_W": beam.power, "rate_Hz": beam.rate, "width_s": beam.width, "wavelength_m": beam.wavelength,
            "beam_diameter_m": beam.diameter, "divergence_rad": beam.divergence, "focal_length_m": beam.focal_length,
            "exposure_s": beam.exposure, "reflectance": beam.reflectance,
        },
        "assumptions": list(found.assumptions),
        "sources": sources_of(found),
        "formulas": list(FORMULAS),
        "always": ALWAYS,
        "cautions": list(CAUTIONS),
    }  # fmt: skip


def sources_of(found: BeamHazards) -> list[str]:
    """One line for each thing the figures rest on, with its mark."""
    return [f"{words}: from memory, unverified" if mark == "memory" else words for words, mark in found.marks]


def _allowed(one: Allowed) -> dict[str, Any]:
    return {
        "rules": one.rules, "governing_rule": one.rule, "eye_limit_J_m2_per_pulse": one.per_pulse,
        "eye_limit_W_m2": one.average,
    }  # fmt: skip


def metres(value: float) -> str:
    """A distance in words, never shorter than it is."""
    return show(rounded_up(value), "length") if value >= 1e-3 else "1 mm"


def beam_answers(found: BeamHazards) -> tuple[str, str]:
    """Eyewear and distance, each in a sentence made of its values."""
    number = found.number_pulsed
    pulsed = f" and {found.pulse_letter} LB{number}" if number is not None else ""
    scale = f"D LB{found.number_steady}{pulsed}"
    nanometres = round(found.beam.wavelength * 1e9)
    density = math.ceil(found.optical_density * 10 - 1e-9) / 10
    worn = (
        f"Eyewear: for {nanometres} nm, optical density at least {density:.1f} and scale numbers {scale}, for everyone "
        "inside the zone."
    )
    if not eyewear_is_made(found):
        worn = f"Eyewear: none is made for scale numbers {scale}; the beam has to be enclosed."
    far = metres(max(found.distance, found.at_window))
    distance = (
        f"Distance: an unprotected eye is at risk within {far} of the head in any line of sight, the sweep stopped; "
        f"skin within {metres(found.skin)}; off a matt surface within {metres(found.diffuse)} of it. Walls that stop "
        "the beam end the zone, windows and shiny things do not; with a cracked or missing lens it reaches farther."
    )
    return worn, distance


def eyewear_is_made(found: BeamHazards) -> bool:
    """False where the scale numbers exceed every eyewear's."""
    return max(found.number_steady, found.number_pulsed or 0) <= MOST_NUMBER


def headline(found: Plan) -> str:
    """What to do first about the beam, in a sentence."""
    if not eyewear_is_made(found.beam):
        return "Enclose the beam: no eyewear is made for it."
    if found.zone is None:
        return "Describe the room: until then everyone in sight of the beam wears eyewear."
    if not found.zone.wedges:
        return "Everyone inside these walls wears eyewear while the laser is on."
    return f"{_close(found.zone)}."


def unguarded(found: Plan, covered: bool) -> str | None:
    """Why nobody may start as it is described; None: nothing described stands against it, which is no clearance."""
    if not covered:
        return UNCOVERED
    said = headline(found)
    return f"Stop: {lowered(said)}" if found.zone is None or found.zone.wedges else None


def _close(zone: Zone) -> str:
    """Which openings to close, and who stands beyond them."""
    openings = list(dict.fromkeys(wedge.through for wedge in zone.wedges))
    people = list(dict.fromkeys(who for who, how in zone.reached if how != INSIDE))
    said = f"Close {_names(openings)}: the beam looks out of {'it' if len(openings) == 1 else 'them'}"
    if not people:
        return said
    return f"{said}, and {_names(people)} {'stands' if len(people) == 1 else 'stand'} in its way"


def _names(names: Sequence[str]) -> str:
    """The first names joined with "and", the rest counted."""
    shown, more = list(names[:MOST_NAMED]), len(names) - MOST_NAMED
    *first, last = [*shown, f"{more} more"] if more > 0 else shown
    return f"{', '.join(first)} and {last}" if first else last


def plan_record(found: Plan, title: str, on_record: Sequence[str] = ()) -> dict[str, Any]:
    """Everything of a job's hazards; the beam's keys are the contract's. on_record: what the survey left there."""
    beam = beam_record(found.beam)
    fume, fire = found.fume, found.fire
    covered = bool(fume.respirator) and eyewear_is_made(found.beam)
    return {
        **beam,
        "title": title,
        "headline": headline(found),
        "answers": [*beam["answers"], air_answer(fume)],
        "covered": covered,
        "unguarded": unguarded(found, covered),
        "on_record": list(on_record),
        "air": {
            "area_rate_m2_s": found.area_rate, "removed_kg_s": fume.removed, "capture": fume.capture,
            "air_flow_m3_s": fume.air, "volume_m3": fume.volume, "work_s": fume.seconds,
            "filter_s": fume.filter_seconds if math.isfinite(fume.filter_seconds) else None,
            "respirator": fume.respirator, "filters": fume.filters, "waste": fume.waste,
            "agents": [
                {
                    "agent": one.limit.agent, "name": one.limit.name, "given_off_kg_s": one.given_off,
                    "room_kg_m3": one.in_room, "near_kg_m3": one.near, "limit_kg_m3": one.limit.limit,
                    "ratio": one.ratio, "authority": one.limit.authority,
                    "needed_air_m3_s": one.needed_air if math.isfinite(one.needed_air) else None,
                    "why": one.locator, "source": "from memory, unverified" if one.status == "memory" else one.locator,
                }
                for one in fume.agents
            ],
        },
        "fire": {
            "answer": fire_answer(fire), "lights_within_m": fire.reach, "clear_m": fire.clear, "watch_s": fire.watch,
            "last_look_s": fire.later, "bulk_celsius": fire.bulk, "notes": list(fire.notes),
            "fuels": [
                {
                    "material": one.material, "celsius": one.celsius, "flux_W_m2": one.flux or None, "note": one.note,
                    "source": "from memory, unverified" if one.status == "memory" else sources()[one.source].cite,
                }
                for one in fire.fuels
            ],
        },
        "room": None if found.zone is None else {
            "inside": found.zone.inside, "notes": list(found.zone.notes),
            "reached": [{"who": who, "how": how} for who, how in found.zone.reached],
            "openings": sorted({wedge.through for wedge in found.zone.wedges}),
        },
        "power": None if found.supply is None else {
            "drawn_W": found.supply.drawn, "left_out": list(found.supply.left_out),
            "loads": [{"load": name, "power_W": watts} for name, watts in found.supply.loads],
            "placed": [{"load": name, "circuit": number + 1} for name, number in found.supply.placed],
        },
        "checklist": [
            {"moment": one.moment, "role": one.role, "gate": one.gate, "text": one.text} for one in checklist()
        ],
        "assumptions": [*beam["assumptions"], *fume.assumptions],
        "sources": [*beam["sources"], "air limits, composition, respirators and checklist: from memory, unverified",
                    "fire: 11 m and a watch of at least 30 min as summarised from 29 CFR 1910.252 and NFPA 51B",
                    "fire: an hour of watch and three of looks: from memory, unverified",
                    "near field, mixing, exchange, filter load: from memory, unverified",
                    "most that is caught, 45 °C, eight tenths of a circuit: common practice, no source",
                    "wood: Babrauskas, Ignition of wood, Interflam 2001"],
    }  # fmt: skip


def times_over(ratio: float) -> str:
    """How far over its limit, never less than it is."""
    up = rounded_up(ratio)
    if up > MOST_SAID:
        return f"more than {MOST_SAID:,.0f} times its limit".replace(",", " ")
    return (f"{up:.2g}" if up < 100 else f"{up:,.0f}".replace(",", " ")) + " times its limit"


def air_answer(fume: Fume) -> str:
    """What the air asks for, in a sentence made of its values."""
    worst = fume.worst
    caught = f"with {show(fume.capture, 'share')} caught at the spot" if fume.capture > 0 else "with nothing caught"
    if worst.ratio <= 1.0:
        head = (
            f"Air: {caught}, {worst.limit.name} comes near its limit at most ({worst.ratio:.2g} of it) by this estimate"
        )
    else:
        head = f"Air: {caught}, {worst.limit.name} reaches {times_over(worst.ratio)} where the operator breathes"
    if not fume.respirator:
        return f"{head}. No respirator covers that: do not start, capture more at the spot first."
    return f"{head}; extraction at the spot, and {fume.respirator}."


def fire_answer(fire: Fire) -> str:
    """What fire asks for, in a sentence made of its values."""
    return (
        f"Fire: keep {show(rounded_up(fire.clear), 'length')} around and along the beam free of what burns, watch for "
        f"{show(fire.watch, 'duration')} afterwards and look again for {show(fire.later, 'duration')}."
    )
