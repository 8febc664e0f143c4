"""Where a coating and what lies under it stand against one setting: levels over all draws of a belief, in words too.

The outcome says by what factor a setting misses; here the factor is turned back into a fluence, a dose and a
temperature that can be drawn beside the setting's own. Every figure comes from the functions the forecast runs on.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.learn.belief import Belief
from proofpatch.learn.grading import CLEAN_EDGE
from proofpatch.learn.kernels import outcomes
from proofpatch.learn.rows import hand_row
from proofpatch.physics import rows as at
from proofpatch.physics.clocks import ROOM, _flash_margin, _strip_margin
from proofpatch.physics.hot_place import _hot_place
from proofpatch.physics.outcome import ABSENT, INCUBATION_HITS, NEVER_MELTS, _by_hand, _grain, _worst, beam_of
from proofpatch.physics.removal import _plume_saturation, _softening
from proofpatch.physics.setting import Setting
from proofpatch.units import show

Floats = NDArray[np.float64]
Level = dict[str, float | None]
QUANTILES = {"p5": 0.05, "p50": 0.5, "p95": 0.95}  # the middle 90 % of a belief, and its middle
BEYOND = math.log(100.0)  # of a level over what is given: further off it is not a figure
MOST_DEGREES = 1e4  # K; a limit above is none
SPEEDS = np.geomspace(0.01, 100.0, 49)  # how many times slower a hand is tried
SEE_THROUGH = 0.3  # of the light through a film, from which its being thrown off from below is named
CLOCK_WORDS = {
    "flash": "the flash of a single pulse", "strip": "the strip, the warm band under the hand",
    "bulk": "the bulk, the part warming through", "glue line": "the glue line under the veneer",
    "stop": "a stop of the hand, beam on",
}  # fmt: skip
NO_SOLID = 3273.15  # K, above which no figure is given: nothing here is still there; common practice, no source
REPEATED, SETTLED = 80, 1e-9  # rounds at most, and the change from which on the fluence of a marking pulse has settled
NOTHING = 0.01  # of the pulse's own fluence: a limit below is none at all


def _level(values: Floats, weight: Floats, most: float = math.inf) -> Level:
    """Ends of the middle 90 % and the middle; None from `most` on."""
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    found = {name: float(values[order][min(int((total < q).sum()), values.size - 1)]) for name, q in QUANTILES.items()}
    return {name: value if value < most else None for name, value in found.items()}


def levels(belief: Belief, row: Floats, dose: float) -> dict[str, Any]:
    """The figures of the belief's every draw at one setting: a middle, or a Level with its middle 90 %.

        D_clean = b D k,  k the least with ln X(u/k) ≤ z₁ σ(u/k),   D_harm = e D exp(margin)           (1)

    Args:
        belief: of the surface.
        row: of `learn.rows.setting_rows`.
        dose: D, mean of one pass [J/m²].

    The dose that cleans is given by a slower hand u/k, for misses and warmth change with it; harm by the factor all
    heat could grow, which is less than a slower hand may give.

    Returns:
        Keys as in the bench's JSON. Fluences are a pulse's, in its middle; doses one pass's, at its thinnest place b
        and its hottest e; temperatures a bare place's. Levels over a hundred times what is given are None.

    Source: `physics.outcome`, whose own functions are called.
    """
    w, sub, hand = belief.weight, belief.substrate.T, hand_row(belief.hand)
    beam = beam_of(row, hand)
    slower = np.repeat(row[None], SPEEDS.size, axis=0)
    slower[:, at.TRAVEL] /= SPEEDS
    found = outcomes(belief.layer, belief.substrate, np.vstack([row, slower]), hand, belief.layer.shape[1] - 1)
    margin, slack = found[2][:, 0], (CLEAN_EDGE * found[1] - found[0])[:, 1:]
    room = np.exp(np.minimum(margin, 2 * BEYOND))
    band, peak, crossing, pulse = _at_the_edge(row, sub)
    limit = _limit_rise(row, sub, beam, band, peak, crossing)
    hottest = np.maximum(np.where(sub[at.ACTIVATION] > 0, peak, band), 1e-6)
    slow = band * _by_hand(beam.seconds, sub[at.SKIN_DEPTH], sub[at.CONDUCTIVITY] / sub[at.HEAT_CAPACITY]) / hottest
    scatter = beam.scatter * (band / np.maximum(peak, 1e-6)) ** 2
    worst = np.exp(_worst(slow, 1.0, np.expm1(hand[at.QUANTILE] * _grain(sub, hand)), scatter, hand))
    clean = dose * row[at.MIDDLE] * np.exp(_first_crossing(np.log(SPEEDS), slack))  # (1)
    flash = _marking_pulse(row, sub, beam, hand, band, pulse)
    melt = np.where(sub[at.MELT] < NEVER_MELTS, sub[at.MELT], 2 * MOST_DEGREES)
    warms = dose * sub[at.HEAT_FACTOR] * sub[at.ABSORPTANCE] / (sub[at.HEAT_CAPACITY] * sub[at.SOLID_THICKNESS])
    return {
        "band_rise_K": _level(band, w)["p50"],
        "peak_rise_K": _level(peak, w)["p50"],
        "band_temperature_K": _level(ROOM + band, w),
        "peak_temperature_K": _level(ROOM + peak, w),
        "limit_temperature_K": _level(ROOM + limit, w, MOST_DEGREES),
        "mean_limit_temperature_K": _level(ROOM + limit / worst, w, MOST_DEGREES),
        "melting_temperature_K": _level(ROOM + melt, w, MOST_DEGREES),
        "coating_threshold_J_m2": _level(_film_threshold(belief.layer, beam), w, beam.peak * math.exp(BEYOND)),
        "flash_limit_J_m2": _level(flash, w, beam.peak * math.exp(BEYOND)),
        "dose_to_clean_J_m2": _level(clean, w, dose * math.exp(BEYOND)),
        "dose_to_tint_J_m2": _level(dose * row[at.EDGE] * room, w, dose * math.exp(BEYOND)),  # (1)
        "heat_factor_to_harm": _level(room, w, math.exp(BEYOND))["p50"],
        "part_warms_K": _level(warms, w)["p50"],
    }


def _first_crossing(x: Floats, y: Floats) -> Floats:
    """Where each row of y first reaches 0, between its points in a straight line; infinite where it never does."""
    up = y >= 0
    first = np.where(up.any(axis=1), up.argmax(axis=1), 0)
    every, before = np.arange(len(y)), np.maximum(first - 1, 0)
    low, high = y[every, before], y[every, first]
    share = np.where(first > 0, -low / np.where(first > 0, high - low, 1.0), 0.0)
    return np.where(up.any(axis=1), x[before] + share * (x[first] - x[before]), np.inf)


def _film_threshold(layers: Floats, beam: Any) -> Floats:
    """Middle fluence of a pulse from which the toughest layer leaves, cold, in the mean of the hits; (draws,).

        F_th (τ/100 ns)^x N^(S−1) F/F_used                                        (1)

    Source: (1) of `physics.outcome._threshold` without its warmth, over the plume's share.
    """
    most = np.zeros(len(layers))
    used = _plume_saturation(beam.mean, layers[:, 0, at.PLUME])
    for i in range(layers.shape[1]):
        layer = layers[:, i].T
        low, ramp = _softening(beam.hits, layer[at.INCUBATION], INCUBATION_HITS)
        mean = layer[at.THRESHOLD] * np.exp(layer[at.WIDTH_EXPONENT] * beam.log_width) * low * np.exp(ramp)
        most = np.maximum(most, np.where(layer[at.THICKNESS] > ABSENT, mean * beam.mean / used, 0.0))  # (1)
    return most


def _marking_pulse(row: Floats, sub: Floats, beam: Any, hand: Floats, band: Floats, pulse: Floats) -> Floats:
    """Middle fluence of a pulse that alone marks the darkest 0.1 % of bare substrate on the band's heat; (draws,).

    The forecast's flash limit; where a reaction decides, the pulse that brings the face to where it shows: how long a
    smaller pulse's heat lasts moves that, so it is found by repeating.
    """
    dark = np.exp(hand[at.QUANTILE] * _grain(sub, hand))
    margin = _flash_margin(
        1.0, band * dark, row[at.WIDTH], sub[at.ABSORPTANCE], sub[at.CONDUCTIVITY], sub[at.HEAT_CAPACITY], sub[at.MELT],
        sub[at.FLASH_LIMIT], sub[at.FLASH_WIDTH], sub[at.FLASH_EXPONENT],
    )  # fmt: skip
    warm, alone = band * dark, beam.peak * np.ones(len(band))
    far = beam.peak * math.exp(2 * BEYOND)  # beyond what is shown
    for _ in range(REPEATED):
        own = pulse * alone / beam.peak * dark
        least = _limit_rise(row, sub, beam, warm, warm + own, own)
        before, alone = alone, np.minimum(alone * np.maximum(least - warm, 0.0) / np.maximum(own, 1e-9), far)
        if np.all(np.abs(alone - before) <= SETTLED * alone):
            break
    dark = np.where(sub[at.FLASH_LIMIT] > 0, 1.0, dark)  # a measured limit is of the material as it is
    return np.asarray(np.where(sub[at.ACTIVATION] > 0, alone, np.exp(margin) * sub[at.FLASH_FACTOR] / dark))


def _bare(row: Floats, sub: Floats) -> Any:
    """`_hot_place` of a bare place; `sub` (columns,) or (columns, draws)."""
    taken = sub[at.ABSORPTANCE] * sub[at.SKIN_SHARE]
    return _hot_place(
        row[at.POWER], row[at.RATE], row[at.WIDTH], row[at.SPOT], row[at.SWEEP], row[at.SWEEP_SPEED], row[at.TRAVEL],
        row[at.TOP_HAT], taken, sub[at.SKIN_DEPTH], sub[at.ABSORPTANCE] - taken, sub[at.DIFFUSE_DEPTH],
        sub[at.SOLID_THICKNESS], sub[at.CONDUCTIVITY], sub[at.HEAT_CAPACITY],
    )  # fmt: skip


def _at_the_edge(row: Floats, sub: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Rise of the band, of the hottest place, of its last crossing and of one pulse there [K], as the forecast has it.

    A slow turn of the sweep lays pulses closer; each is what it is.
    """
    band, peak, crossing, pulse = (sub[at.HEAT_FACTOR] * part for part in _bare(row, sub)[:4])
    edge = row[at.EDGE]
    return edge * band, edge * peak - (edge - 1.0) * pulse, edge * crossing, pulse


def _limit_rise(row: Floats, sub: Floats, beam: Any, band: Floats, peak: Floats, crossing: Floats) -> Floats:
    """Rise that is harm to a place that gets so hot for so long [K]: the forecast's margin of the strip, undone."""
    skin = np.maximum(sub[at.SKIN_DEPTH], 1e-9)
    seconds = np.maximum(skin * skin * sub[at.HEAT_CAPACITY] / sub[at.CONDUCTIVITY], 0.2 * beam.seconds)
    margin = _strip_margin(
        band, peak - band, crossing, 0.0, row[at.PASSES], seconds, sub[at.LN_FREQUENCY], sub[at.ACTIVATION],
        sub[at.LIMIT],
    )  # fmt: skip
    rise = np.where(sub[at.ACTIVATION] > 0, peak, band)
    return np.asarray(np.exp(margin) * np.maximum(rise, 1e-3))


def see_through(belief: Belief) -> float:
    """Share of the light that the films let through, in the middle of the belief [1]."""
    optical = (belief.layer[:, :, at.ABSORPTION] * belief.layer[:, :, at.THICKNESS]).sum(axis=1)
    return math.exp(-(_level(optical, belief.weight)["p50"] or 0.0))


def _rounded(value: float, kind: str) -> str:
    """To two digits, degrees to whole ones."""
    if kind == "temperature":
        return show(value, kind) if value < NO_SOLID else f"over {show(NO_SOLID, kind)}"
    return show(float(f"{value:.2g}"), kind)


def level_words(level: Level, kind: str) -> str:
    """A level with the ends of its middle 90 %: "2.1 J/cm² (1.2 to 3.6)"."""
    low, middle, high = (level[name] for name in QUANTILES)
    if low is None or middle is None:
        return "out of reach" if low is None else f"out of reach, {_rounded(low, kind)} at best"
    said = [_rounded(value, kind) for value in (low, middle, high) if value is not None]
    first, last = said[0], said[-1]
    if last.startswith("over "):
        return said[1] if said[1] == first else f"{said[1]} ({first} or more)"
    if first.rpartition(" ")[2] == last.rpartition(" ")[2]:
        first, last = first.rpartition(" ")[0], last.rpartition(" ")[0]
    return f"{said[1]} ({first} to {last})" if high is not None else f"{said[1]} ({said[0]} or more)"


def _portion(share: float) -> str:
    return "under 0.1 %" if share < 0.001 else show(float(f"{share:.2g}"), "share")


def said(
    s: Setting, r: dict[str, Any], coating: str, under: str, harm: str, absorptance: float, through: float
) -> tuple[str, ...]:
    """What limits what, in sentences; every figure from the record `r`.

    coating, under: what they are called. harm: what the substrate does at its limit. absorptance: of it, bare [1].
    through: share of the light that the films let through [1].
    """
    light = _portion(r["light_to_substrate"])
    lines = [
        f"{light[0].upper()}{light[1:]} of the light ends as heat in the {under} while the coating is there, "
        f"{_portion(absorptance)} where it is bare.",
        *_pulse_words(r, coating, under, through),
        *_dose_words(s, r),
        f"On a bare place the band under the hand reaches {level_words(r['band_temperature_K'], 'temperature')}, "
        f"the hottest moment {level_words(r['peak_temperature_K'], 'temperature')}: the closed form's, with which the "
        "chances are counted.",
    ]
    if r["limit_temperature_K"]["p50"] is not None:
        held = "hot for as long as here" if harm == "tints" else "if it lasts longer than a pulse"
        mean = _rounded(r["mean_limit_temperature_K"]["p50"], "temperature")
        lines.append(
            f"The {under} {harm} at {level_words(r['limit_temperature_K'], 'temperature')}, {held}. The darkest "
            f"place under a slow hand is there when a middling one reaches {mean}."
        )
        if (
            max(r["limit_temperature_K"]["p50"], r["melting_temperature_K"]["p50"] or 0.0)
            < r["peak_temperature_K"]["p50"]
        ):
            lines.append("Past its limit the material itself changes: degrees there only say how much too much it is.")
    warmer = (s.passes - 1) * r["part_warms_K"]
    if warmer >= 1:
        lines.append(
            f"Passes without a pause leave the part up to {warmer:.0f} °C warmer when the last one comes; the picture "
            "shows the first."
        )
    return (
        *lines,
        governed(r, under),
        "The curves are the middle of the belief; the chances count all of it.",
    )


def governed(r: dict[str, Any], under: str) -> str:
    """Which clock harms first and how far from harm that is, from the record of a setting on a surface."""
    factor, flash = r["heat_factor_to_harm"], r["flash_limit_J_m2"]["p50"]
    room = f": {_room(math.log(factor))}" if factor else ", far from here"
    if factor and factor > 1 and flash is not None and flash < r["peak_fluence_J_m2"]:
        room += f", as long as coating still shades the {under}"
    return f"What governs harm is {CLOCK_WORDS[r['governs']]}{room}."


def band_alone_marks(record: dict[str, Any]) -> bool:
    """True where the band's heat marks the darkest bare substrate, whatever a pulse adds."""
    flash = record["flash_limit_J_m2"]["p50"]
    return flash is not None and bool(flash < NOTHING * record["peak_fluence_J_m2"])


def _pulse_words(r: dict[str, Any], coating: str, under: str, through: float) -> list[str]:
    """One pulse against the film and the bare substrate."""
    peak, flash = r["peak_fluence_J_m2"], r["flash_limit_J_m2"]
    level = r["coating_threshold_J_m2"]
    lines = [
        f"A pulse has {_rounded(peak, 'fluence')} in its middle. "
        + (
            f"From above, the {coating} leaves above {level_words(level, 'fluence')}, sooner where it is warm."
            if level["p50"] is not None
            else f"In the middle of the belief it takes nothing off the {coating} from above."
        )
    ]
    if through > SEE_THROUGH:
        lines.append("A film that lets light through may also be thrown off whole from below: no line shows that.")
    if flash["p50"] is None:
        return [*lines, f"No single pulse near this one marks the bare {under}."]
    if band_alone_marks(r):
        return [*lines, f"The heat of the band alone marks the darkest bare {under}."]
    return [*lines, f"One pulse marks the darkest bare {under} from {level_words(flash, 'fluence')}."]


def _dose_words(s: Setting, r: dict[str, Any]) -> list[str]:
    """The dose of a pass against what cleans and what harms."""
    each = "" if s.passes == 1 else f", in each of {s.passes} passes"
    clean, harm = r["dose_to_clean_J_m2"], r["dose_to_tint_J_m2"]
    lines = [f"A pass gives {_rounded(r['dose_pass_J_m2'], 'fluence')} on average{each}."]
    if clean["p50"] is None:
        best = f"; {_rounded(clean['p5'], 'fluence')} a pass at best" if clean["p5"] is not None else ""
        lines.append(f"In the middle of the belief no dose of such pulses cleans{best}.")
    else:
        lines.append(f"Clean takes {level_words(clean, 'fluence')} a pass, by a slower hand.")
    if harm["p50"] is not None:
        lines.append(
            f"Harm begins at {level_words(harm, 'fluence')} a pass where the dose is highest, dark spots and a slow "
            "hand counted."
        )
    return [" ".join(lines)]


def _room(margin: float) -> str:
    """How far from harm, in words, of the ln of the factor by which heat could still grow."""
    times = math.exp(abs(margin))
    if times < 1.05:
        return "this is about where it begins"
    return f"it would begin at {times:.2g} times this heat" if margin > 0 else f"this is {times:.2g} times too much"
