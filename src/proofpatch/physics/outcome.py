"""What one setting does to one surface: how much coating is left, how near the substrate is to harm.

The closed forms of removal, heat and dose put together for a single concrete surface (a *draw*) and one
setting under a human hand. Everything is element by element: with arrays of draws against arrays of
settings it is plain NumPy, and `learn.kernels` compiles the very same body.

Two numbers decide. `log_need` is ln X, X the dose this surface needs over the dose it gets, with its
spread from place to place: it carries "how much is left". `margin` is the natural log of the factor by
which heat or fluence could still grow before the substrate shows a tint on 0.1 % of the area.

The order of the steps and the choice of closed forms are ours; each form names its own source where it is
defined. How far they are from a layered solver and a pulse-by-pulse dose map, `benchmarks/agreement.py` says; the
discrepancy terms of the belief stand for that error and the world's: factors, and lines in three knobs.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from proofpatch.physics import rows as at
from proofpatch.physics.beam import _encircled_share, _mean_fluence, _peak_fluence, _threshold_radius
from proofpatch.physics.clocks import _bulk_margin, _flash_margin, _glue_margin, _stop_margin, _strip_margin
from proofpatch.physics.coverage import _count_regularity, _missed_share, _thin_tail
from proofpatch.physics.elementwise import choose, elementwise, normal_cdf, normal_quantile
from proofpatch.physics.hot_place import _film_rise, _flux_rise, _hot_place, _share_beside_film
from proofpatch.physics.optics import _mean_transmitted_share
from proofpatch.physics.removal import _incubated_depth_moments, _plume_saturation, _softening

CLOCKS = ("flash", "strip", "bulk", "glue line", "stop")
REFERENCE_WIDTH = 100e-9  # s, at which thresholds are tabulated
REFERENCE_RATE, REFERENCE_DOSE = 50e3, 3e5  # Hz, J/m² of all passes: the middle of what such lasers are set to
WARM_FLOOR = 0.1  # a film at its decomposition temperature keeps this share of its threshold; from memory, unverified
INCUBATION_HITS = 100.0  # incubation saturates; from memory, unverified
NEAR_THRESHOLD = 0.1  # of the steepness: how far off the closed depth is there (benchmarks/agreement.py)
LIFT_SPREAD = 0.5  # ln spread of the work of removal from place to place; from memory, unverified
SOAK_WIDTH = 10.0  # K, over which a film melts; from memory, unverified
LEAST_SPREAD = 0.05  # no surface is more even than this; from memory, unverified
BARE_SHARE = 0.001  # harm counts once this share of the area is bare and marked (the contract's 0.1 %)
ABSENT = 1e-9  # m; a layer thinner than this is not there
TRAPPED = 0.5963  # diffuse reflectance of a film's face from within at n = 1.5 (thermal-optical check CV-5.11)
FADE = 0.01  # share lifted over which "not lifted" passes into "lifted"
LASTING = 0.3e-3  # s, for which a stone has to be hot to crack; from memory, unverified
NEVER_MELTS = 1e5  # K; what melts only above is a stone, a wood or a paper
SHIELD = 10.0  # most a film may add to the flash margin
BLACK = 0.98  # share of the light the darkest grain takes; from memory, unverified
# e-folds of rate, width and dose over which the model may drift, no shop's laser goes further; ours, from memory,
# unverified.
DRIFT = 3.0
# Most that a film's warming adds to how steeply the dose needed follows the hand; ours, from memory, unverified.
MELTING = 3.0


class Beam(NamedTuple):
    """What a setting is before it meets a surface; SI."""

    energy: Any
    mean: Any  # fluence of a pulse
    peak: Any  # fluence of a pulse
    far_radius: Any  # spot one spread of stand-off out of focus
    blur: Any  # (stand-off / Rayleigh range)²
    pulse_pitch: Any
    line_pitch: Any
    density: Any  # pulses per area and pass
    dose: Any  # of one pass, mean over the area
    seconds: Any  # for which the band is over a place
    crossing: Any  # dose a place gets while one line crosses it
    crossing_seconds: Any
    hits: Any  # per place, all passes, as far as incubation counts them
    log_width: Any  # ln(τ/100 ns)
    scatter: Any  # relative variance of the band's heat where pulses lie apart and fall at random


@elementwise
def beam_of(setting: Any, hand: Any) -> Any:
    """The Beam of a setting row; every entry a number or an array of settings."""
    energy = setting[at.POWER] / setting[at.RATE]
    w, v = setting[at.SPOT], setting[at.SWEEP_SPEED]
    pulse_pitch = v / setting[at.RATE]
    line_pitch = setting[at.TRAVEL] * setting[at.SWEEP] / v
    density = 1.0 / (pulse_pitch * line_pitch)
    blur = (hand[at.STAND_OFF] / setting[at.RAYLEIGH]) ** 2
    far = w * np.sqrt(1.0 + blur)
    # Where lines lie apart, a place on one still gets all the hits of that line.
    on_line = math.pi * far / (2.0 * pulse_pitch)
    hits = np.maximum(np.maximum(density * math.pi * far * far * setting[at.PASSES], on_line), 1.0)
    mean, peak = _mean_fluence(energy, w), _peak_fluence(energy, w, setting[at.TOP_HAT])
    return Beam(
        energy, mean, peak, far, blur, pulse_pitch, line_pitch, density, energy * density,
        2.0 * w / setting[at.TRAVEL], setting[at.POWER] / (2.0 * w * v), 2.0 * w / v, hits,
        np.log(setting[at.WIDTH] / REFERENCE_WIDTH),
        np.maximum(1.0 - 2.0 * w / pulse_pitch, 0.0) / (density * math.pi * w * w),
    )  # fmt: skip


@elementwise
def _warmed(lowest: Any, ramp: Any, warm: Any, rise: Any, residual: Any, used: Any, setting: Any) -> Any:
    """(lowest threshold of a film warmed by so much [J/m²], heat share its pulses then leave), any shape."""
    lowest = lowest * np.maximum(1.0 - warm / rise, WARM_FLOOR)
    radius = _threshold_radius(lowest * np.exp(ramp), used, setting[at.SPOT], setting[at.TOP_HAT])
    return lowest, 1.0 - (1.0 - residual) * _encircled_share(radius, setting[at.SPOT], setting[at.TOP_HAT])


@elementwise
def _threshold(layer: Any, i: int, beam: Any, used: Any, warm: Any, setting: Any) -> Any:
    """(mean threshold, lowest threshold [J/m²], what early hits lack, heat share) of a layer in this pass, any shape.

        F_th(N, τ) = F_th (τ/100 ns)^x  N^(S−1)  max(1 − s ΔT/ΔT_dec, floor)              (1)
        s = 1 − (1 − η_res) (share of the light above F_th)                               (2)

    `warm` is ΔT if all light stays as heat; s of it does. The warmer the film, the more leaves and the less heat stays:
    (2) falls as s grows, so there is one balance. It is taken where the straight line between s = η_res and s = 1 meets
    it.
    """
    low, ramp = _softening(beam.hits, layer[i][at.INCUBATION], INCUBATION_HITS)
    residual, rise = layer[i][at.RESIDUAL_HEAT], layer[i][at.DECOMPOSITION]
    cold = layer[i][at.THRESHOLD] * np.exp(layer[i][at.WIDTH_EXPONENT] * beam.log_width) * low
    _, least = _warmed(cold, ramp, residual * warm, rise, residual, used, setting)
    _, most = _warmed(cold, ramp, warm, rise, residual, used, setting)
    above, below = least - residual, 1.0 - most
    share = residual + (1.0 - residual) * above / np.maximum(above + below, 1e-9)
    lowest, kept = _warmed(cold, ramp, share * warm, rise, residual, used, setting)
    return lowest * np.exp(ramp), lowest, ramp, kept


@elementwise
def _melting(warmth: Any) -> Any:
    """−d ln F_th/d ln ΔT of a film warmed by `warmth` = s ΔT/ΔT_dec, any shape.

    x/(1 − x) from max(1 − x, floor), not above MELTING; beyond x = 1 the threshold lies on its floor and it fades.
    """
    return np.minimum(warmth / np.maximum(1.0 - warmth, 0.1), MELTING) * np.minimum(np.maximum(2.0 - warmth, 0.0), 1.0)


@elementwise
def _layer_removal(
    layer: Any, i: int, beam: Any, used: Any, threshold: Any, lowest: Any, ramp: Any, setting: Any, depth_factor: Any,
    uneven: Any,
) -> Any:  # fmt: skip
    """(dose needed over given, its own ln variance, missed share, depth per pass [m], steepness), any shape.

    Out of focus by one spread of the hand. The steepness is d ln(depth)/d ln(fluence); near the threshold the closed
    form is off by NEAR_THRESHOLD of it, and the spread is widened by as much.
    """
    volume, square = _incubated_depth_moments(
        used, beam.far_radius, setting[at.TOP_HAT], lowest, layer[i][at.DEPTH], layer[i][at.INCUBATION], ramp
    )
    per_pass = beam.density * volume * depth_factor * setting[at.MIDDLE]
    n = setting[at.PASSES]
    need = layer[i][at.THICKNESS] / np.maximum(per_pass * n, 1e-15)
    radius = _threshold_radius(threshold, used, beam.far_radius, setting[at.TOP_HAT])
    kappa = _count_regularity(radius, beam.pulse_pitch, beam.line_pitch)
    counts = np.log1p(kappa * square / np.maximum(n * beam.density * volume * volume, 1e-60))
    steep = 1.0 / np.maximum(np.log(np.maximum(beam.mean / threshold, 1.0)), 0.3)
    off = NEAR_THRESHOLD * steep
    variance = layer[i][at.THICKNESS_SPREAD] ** 2 + np.minimum(counts, 4.0) + off * off
    missed = _missed_share(radius, beam.pulse_pitch, beam.line_pitch, n, uneven)
    missed = np.maximum(missed, _thin_tail(radius, beam.pulse_pitch, beam.line_pitch, n, need, uneven))
    return need, variance, choose(radius > 0.0, missed, 1.0), per_pass, steep


@elementwise
def _lifted_share(interface: Any, onset: Any, conversion: Any, work: Any, beam: Any, setting: Any, uneven: Any) -> Any:
    """Share of the area thrown off from below, any shape: η_m (E_interface − E_gas) against Γ = G + h U_b."""
    push = conversion * np.maximum(interface - onset, 0.0)
    share = normal_cdf(np.log(np.maximum(push / work, 1e-9)) / LIFT_SPREAD)
    missed = _missed_share(beam.far_radius, beam.pulse_pitch, beam.line_pitch, setting[at.PASSES], uneven)
    return share * (1.0 - missed)


@elementwise
def _pass_light(needed: Any, index: Any, optical: Any, into: Any) -> Any:
    """(share of the light that reaches the substrate, share the film takes) in pass `index`, from 1, any shape.

    `needed` is how many passes the film takes to go. It covers the first part of its last one, thinning as it goes;
    then the substrate is bare.
    """
    needed = np.maximum(needed, 1e-9)
    covered = np.minimum(np.maximum(needed - (index - 1.0), 0.0), 1.0)
    start = np.minimum(np.maximum((needed - index + 1.0) / needed, 0.0), 1.0)
    end = np.minimum(np.maximum((needed - index) / needed, 0.0), 1.0)
    through = np.exp(-optical * end) * _mean_transmitted_share(optical * np.maximum(start - end, 0.0))
    return covered * into * through + (1.0 - covered), covered * into * (1.0 - through)


@elementwise
def _left(straight: Any, spread: Any, missed: Any, lifted: Any, soak: Any) -> Any:
    """(share left, the same as one log need), any shape: misses add, lift takes off, what soaks in stays."""
    left = normal_cdf(straight / spread)
    left = (left + missed * (1.0 - left)) * (1.0 - lifted)
    left = np.maximum(left, soak * (1.0 - left))
    folded = spread * normal_quantile(np.minimum(np.maximum(left, 1e-9), 0.9995))
    # Beyond the quantile's reach the straight need goes on; lift fades it into the folded one.
    weight = np.minimum(lifted / FADE, 1.0)
    return left, choose(straight > 3.0 * spread, (1.0 - weight) * straight + weight * folded, folded)


@elementwise
def _held(folds: Any) -> Any:
    """e-folds from the middle of the knob, no further than DRIFT either way, any shape."""
    return np.minimum(np.maximum(folds, -DRIFT), DRIFT)


@elementwise
def _grain(sub: Any, hand: Any) -> Any:
    """Spread of ln(how dark the substrate is), any shape: the darkest grain takes BLACK of the light and no more."""
    return np.minimum(sub[at.SPREAD], np.log(np.maximum(BLACK / sub[at.ABSORPTANCE], 1.02)) / hand[at.QUANTILE])


@elementwise
def _by_hand(seconds: Any, depth: Any, diffusivity: Any) -> Any:
    """−d ln(rise of the band)/d ln(hand's speed), any shape.

        1 − ½ x/(1 + x),   x = √(D t)/d                                                (1)

    The flux of the band does not hang on the speed, the time t under it does: ½ where heat runs on far beyond the
    depth d that takes the light, 1 where it stays. Of x² erfcx(x)/(2x/√π − 1 + erfcx(x)) within 0.03; derived here.
    """
    reach = np.sqrt(diffusivity * seconds)
    return 1.0 - 0.5 * reach / (depth + reach)


@elementwise
def _hotter(one: Any, one_light: Any, other: Any, other_light: Any, dark: Any) -> Any:
    """(heat, its part by light) of the one that is hotter on a dark grain, any shape; light there is 1 + dark times."""
    wins = one + one_light * dark >= other + other_light * dark
    return choose(wins, one, other), choose(wins, one_light, other_light)


@elementwise
def _worst(hand_share: Any, light_share: Any, dark: Any, scatter: Any, hand: Any) -> Any:
    """ln of how much hotter the worst place is than the middle one, any shape.

        q √(h² + g² + v),   q g = ln(1 + s (e^(q σ) − 1))                              (1)

    A slow hand warms what the band brings (h = σ_hand × its share in the peak), a dark grain what the substrate takes
    as light (share s of the peak; dark = e^(q σ) − 1): heat that comes through a film is the same on light and dark
    grain. v is the variance of pulses that fall apart.
    """
    slow = hand[at.SPEED_SPREAD] * hand_share
    grain = np.log1p(light_share * dark) / hand[at.QUANTILE]
    return hand[at.QUANTILE] * np.sqrt(slow * slow + grain * grain + scatter)


@elementwise
def surface_outcome(layer: Any, sub: Any, setting: Any, beam: Any, hand: Any, target: int) -> Any:
    """Outcome of one setting on one surface.

    Args:
        layer: (layers, len(LAYER)), top first; each entry a number, or an array of draws. A layer that is
            not there has thickness 0.
        sub: (len(SUBSTRATE)), numbers or arrays of draws.
        setting: (len(SETTING)), numbers or arrays of settings, broadcasting with the draws.
        beam: beam_of(setting, hand).
        hand: (len(HAND)) numbers.
        target: index of the layer whose remains are asked for; the last one is the whole coating.

    Returns:
        log_need: ln X, dose needed over dose given down to `target` [1]; misses and lift are folded in.
        spread: standard deviation of ln X from place to place [1]; the share left is Φ(log_need/spread).
        margin: ln of the factor to the first tint on 0.1 % of the area [1]; negative is harm.
        clock: index into CLOCKS of what governs the margin.
        light: share of the light that ends as heat in the substrate while coating is still there [1].
        pulse_depth: mean depth removed from the target layer in one pass [m].
    """
    count = len(layer)
    n = setting[at.PASSES]
    optical, film, film_heat, toughness, thin = 0.0, 0.0, 0.0, 0.0, 0.0
    for i in range(count):
        depth = layer[i][at.ABSORPTION] * layer[i][at.THICKNESS]
        optical = optical + depth
        thin = thin + depth * np.exp(-hand[at.QUANTILE] * layer[i][at.THICKNESS_SPREAD])
        film = film + layer[i][at.THICKNESS]
        film_heat = film_heat + layer[i][at.FILM_HEAT] * layer[i][at.THICKNESS]
        toughness = toughness + layer[i][at.TOUGHNESS] * layer[i][at.THICKNESS]
    coated = film > 10.0 * ABSENT
    film = np.maximum(film, ABSENT)
    film_heat = np.maximum(film_heat / film, 1e3)
    film_k, into = layer[0][at.FILM_CONDUCTIVITY], choose(coated, 1.0 - layer[0][at.REFLECTANCE], 1.0)
    transmitted = np.exp(-optical)
    k, rho_c, heat = sub[at.CONDUCTIVITY], sub[at.HEAT_CAPACITY], sub[at.HEAT_FACTOR]
    diffusivity = k / rho_c
    skin = np.maximum(sub[at.SKIN_DEPTH], 1e-9)
    skin_taken = sub[at.ABSORPTANCE] * sub[at.SKIN_SHARE]
    pulse_reach = np.sqrt(math.pi * diffusivity * setting[at.WIDTH]) / 2.0  # depth one pulse heats by conduction alone

    # Rise of the face per unit of flux of the band: into the skin, into the film over a poor and over a good heat sink.
    flux = beam.dose / beam.seconds
    per_skin = _flux_rise(beam.seconds, skin, diffusivity, rho_c)
    per_film = _flux_rise(beam.seconds, film, film_k / film_heat, film_heat)
    per_both = _flux_rise(beam.seconds, film + skin, diffusivity, rho_c)
    # The hottest bare place; on top of the band stand the last crossing and its last pulse.
    lit, highest, crossing, pulse, early_time = _hot_place(
        setting[at.POWER], setting[at.RATE], setting[at.WIDTH], setting[at.SPOT], setting[at.SWEEP],
        setting[at.SWEEP_SPEED], setting[at.TRAVEL], setting[at.TOP_HAT], skin_taken,
        skin, sub[at.ABSORPTANCE] - skin_taken, sub[at.DIFFUSE_DEPTH], sub[at.SOLID_THICKNESS], k, rho_c,
    )  # fmt: skip
    # Half a line crossing heats the film evenly.
    skin_rise = flux * into * transmitted * skin_taken * per_skin * heat
    taken = into * (1.0 - transmitted)
    warm = taken * (
        flux * np.minimum(per_film, film / (2.0 * film_k) + per_both) + 0.5 * beam.crossing / (film_heat * film)
    )
    warm = warm * heat * sub[at.FILM_FACTOR] + skin_rise

    # From above, layer by layer.
    through_plume = _plume_saturation(beam.mean, layer[0][at.PLUME])
    used = beam.energy * through_plume / beam.mean
    need, need_all, variance, missed, per_pass, kept, soak, steep = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    follows = 1.0  # −d ln(depth)/d ln(hand's speed): a slower hand gives more dose, and a warmer film needs less
    for i in range(count):
        there = layer[i][at.THICKNESS] > ABSENT
        threshold, lowest, ramp, eta = _threshold(layer, i, beam, used, warm, setting)
        share, wide, gap, depth, slope = _layer_removal(
            layer, i, beam, used, threshold, lowest, ramp, setting, sub[at.DEPTH_FACTOR], hand[at.SPEED_SPREAD]
        )
        share = choose(there, share, 0.0)
        need_all = need_all + share
        kept = kept + eta * choose(there, layer[i][at.THICKNESS], 0.0) / film
        melted = 1.0 / (1.0 + np.exp(np.minimum((layer[i][at.SOAK_RISE] - eta * warm) / SOAK_WIDTH, 50.0)))
        soak = np.maximum(soak, choose(there, layer[i][at.SOAK_SHARE] * melted, 0.0))
        if i <= target:
            need = need + share
            variance = variance + share * share * wide
            missed = np.maximum(missed, choose(there, gap, 0.0))
            steep = np.maximum(steep, choose(there, slope, 0.0))
            melting = _melting(eta * warm / layer[i][at.DECOMPOSITION])
            follows = np.maximum(follows, choose(there, 1.0 + slope * melting, 1.0))
            per_pass = depth
    need, need_all, kept = np.maximum(need, 1e-9), np.maximum(need_all, 1e-9), np.minimum(kept, 1.0)
    # The hand is the same for every layer.
    wobble = (hand[at.SPEED_SPREAD] * follows) ** 2 / n + 2.0 * (beam.blur * steep) ** 2
    spread = np.maximum(np.sqrt(variance / (need * need) + wobble), LEAST_SPREAD)

    # From below: light through the whole stack turns the skin to gas and throws the film off.
    gas = choose(sub[at.GAS] > 0.0, sub[at.GAS], layer[count - 1][at.DECOMPOSITION])
    onset = rho_c * (skin + pulse_reach) * np.maximum(gas - skin_rise, 0.0)
    interface = through_plume * into * transmitted * skin_taken
    work = layer[count - 1][at.BOND] + toughness
    lifted = _lifted_share(
        interface, onset, sub[at.GAS_CONVERSION] * sub[at.LIFT_FACTOR], work, beam, setting, hand[at.SPEED_SPREAD]
    )
    left, log_need = _left(np.log(need), spread, missed, lifted, soak)

    # Heat of the first pass (film there), of the last (film thin or gone) and of a bare place, whichever is worst;
    # a place is bare in the last pass as soon as 0.1 % of the area is.
    needed = n * need_all * (1.0 - lifted)
    trapped = 1.0 / (1.0 - TRAPPED * (1.0 - sub[at.ABSORPTANCE]) * transmitted * transmitted)
    early, early_film = _pass_light(needed, 1.0, optical, into)
    late, late_film = _pass_light(needed, n, optical, into)
    bare = choose(left < 1.0 - BARE_SHARE, 1.0, 0.0)
    reaching = np.maximum(np.maximum(early, late) * trapped, bare)
    # Heat that stays in the film has to cross what the pass leaves of it, which also cools the lit face.
    thick, stays = sub[at.SOLID_THICKNESS], np.maximum(1.0 - 1.0 / np.maximum(needed, 1.0), 0.0)
    by_film = _film_rise(beam.seconds, early_time, film, film_k, film_heat, optical, stays, thick, k, rho_c)
    by_light = _share_beside_film(beam.seconds, early_time, film * stays, film_k, film_heat, per_skin, k, rho_c)
    first_light = lit * by_light * early * trapped
    first = first_light + flux * kept * by_film * early_film
    stays = np.maximum(1.0 - n / np.maximum(needed, n), 0.0)
    by_film = _film_rise(beam.seconds, early_time, film, film_k, film_heat, optical, stays, thick, k, rho_c)
    by_light = _share_beside_film(beam.seconds, early_time, film * stays, film_k, film_heat, per_skin, k, rho_c)
    last_light = lit * by_light * late * trapped
    last = last_light + flux * kept * by_film * late_film
    hot = setting[at.EDGE] * heat  # where the sweep turns slowly pulses lie closer; each is what it is
    # Whichever is hottest on a dark grain; `shone` is the part of it the substrate took as light.
    dark = np.exp(hand[at.QUANTILE] * _grain(sub, hand)) - 1.0
    band, shone = _hotter(first, first_light, last, last_light, dark)
    band, shone = _hotter(band, shone, lit * bare, lit * bare, dark)
    band, shone = hot * band, hot * shone
    early_light, late_light = sub[at.ABSORPTANCE] * early * trapped, sub[at.ABSORPTANCE] * late * trapped
    early_all, late_all = early_light + kept * early_film, late_light + kept * late_film
    absorbed, by_bulk = _hotter(early_all, early_light, late_all, late_light, dark)
    absorbed, by_bulk = _hotter(absorbed, by_bulk, sub[at.ABSORPTANCE] * bare, sub[at.ABSORPTANCE] * bare, dark)
    by_bulk = by_bulk / np.maximum(absorbed, 1e-9)
    absorbed = beam.dose * heat * absorbed
    bulk = n * absorbed / (rho_c * sub[at.SOLID_THICKNESS])
    # Passes follow each other without cooling: the part is already warm when the last band comes.
    warm_part = bulk * (n - 1.0) / n
    strip = band + warm_part
    # On top of the band: what the last crossing and its last pulse add at the hottest place.
    crossing, pulse = crossing * reaching * hot, pulse * reaching * heat
    top = np.maximum((highest - lit) * reaching * hot - (setting[at.EDGE] - 1.0) * pulse, pulse)

    # Worst 0.1 % of the area: slow hand and dark grain, each as far as the heat is theirs.
    ln_a, activation, limit = sub[at.LN_FREQUENCY], sub[at.ACTIVATION], sub[at.LIMIT]
    scatter = beam.scatter * lit * lit / np.maximum(highest * highest, 1e-12)
    covered = np.maximum(1.0 - (1.0 - np.minimum(left, 1.0)) / BARE_SHARE, 0.0)
    shield = covered * np.minimum(-np.log(np.maximum(into * np.exp(-thin), 1e-5)), SHIELD)
    # A measured limit is the first mark on the material as it is, its darkest grain included.
    flash = np.log(sub[at.FLASH_FACTOR]) - choose(sub[at.FLASH_LIMIT] > 0.0, 0.0, np.log1p(dark)) + shield
    before = strip + choose(activation > 0.0, 0.0, np.maximum(top - pulse, 0.0))
    flash = flash + _flash_margin(
        beam.peak, before, setting[at.WIDTH], sub[at.ABSORPTANCE], k, rho_c,
        sub[at.MELT], sub[at.FLASH_LIMIT], sub[at.FLASH_WIDTH], sub[at.FLASH_EXPONENT],
    )  # fmt: skip
    skin_seconds = np.maximum(skin * skin / diffusivity, 0.2 * beam.seconds)
    # Quartz turns at once: heat of the last crossing counts as far as it lasts. A metal's tint takes the band's time.
    burst = beam.crossing_seconds
    lasting = _flux_rise(burst + LASTING, skin, diffusivity, rho_c) - _flux_rise(LASTING, skin, diffusivity, rho_c)
    lasting = choose(sub[at.MELT] < NEVER_MELTS, 0.0, crossing * lasting / _flux_rise(burst, skin, diffusivity, rho_c))
    above = choose(activation > 0.0, top, lasting)
    peak = np.maximum(strip + above, 1e-9)
    slow = (band * _by_hand(beam.seconds, skin, diffusivity) + warm_part / np.sqrt(n)) / peak
    shine = (shone + above + warm_part * by_bulk) / peak
    banded = _strip_margin(strip, top, crossing, lasting, n, skin_seconds, ln_a, activation, limit)
    banded = banded - _worst(slow, shine, dark, scatter, hand)
    through = _bulk_margin(bulk, ln_a, activation, limit) - _worst(1.0 / np.sqrt(n), by_bulk, dark, 0.0, hand)
    glued = _glue_margin(absorbed * setting[at.EDGE], bulk, rho_c, sub[at.GLUE_DEPTH], sub[at.GLUE])
    glued = glued - _worst(1.0, by_bulk, dark, scatter, hand)
    margin, clock = flash, 0.0 * flash
    clock = choose(banded < margin, 1.0, clock)
    margin = np.minimum(margin, banded)
    clock = choose(through < margin, 2.0, clock)
    margin = np.minimum(margin, through)
    clock = choose(glued < margin, 3.0, clock)
    margin = np.minimum(margin, glued)
    if hand[at.STOP] > 0.0:
        still = _stopped(sub, setting, hand[at.STOP], strip, taken * kept, skin, film)
        still = still - _worst(1.0, 1.0, dark, scatter, hand)
        clock = choose(still < margin, 4.0, clock)
        margin = np.minimum(margin, still)
    # What the forms above get wrong drifts with the knobs: a straight line in each, drawn with the surface.
    rate = _held(np.log(setting[at.RATE] / REFERENCE_RATE))
    width, dose = _held(beam.log_width), _held(np.log(n * beam.dose / REFERENCE_DOSE))
    log_need = (
        log_need
        + sub[at.NEED_BY_RATE] * rate
        + sub[at.NEED_BY_WIDTH] * width
        + sub[at.NEED_BY_DOSE] * dose
    )  # fmt: skip
    margin = (
        margin
        + sub[at.ROOM_BY_RATE] * rate
        + sub[at.ROOM_BY_WIDTH] * width
        + sub[at.ROOM_BY_DOSE] * dose
    )  # fmt: skip
    return log_need, spread, margin, clock, into * transmitted * sub[at.ABSORPTANCE], per_pass


@elementwise
def _stopped(sub: Any, setting: Any, seconds: float, strip: Any, film_share: Any, skin: Any, film: Any) -> Any:
    """Margin of a line that stands still with the beam on, on bare substrate or on film, any shape."""
    k, rho_c = sub[at.CONDUCTIVITY], sub[at.HEAT_CAPACITY]
    flux = setting[at.POWER] / (2.0 * setting[at.SPOT] * setting[at.SWEEP])
    hot = setting[at.EDGE] * sub[at.HEAT_FACTOR]
    absorbed = sub[at.ABSORPTANCE] * flux * seconds
    bare = (
        flux * sub[at.ABSORPTANCE] * sub[at.SKIN_SHARE] * _flux_rise(seconds, skin, k / rho_c, rho_c)
        + absorbed * (1.0 - sub[at.SKIN_SHARE]) / (rho_c * sub[at.DIFFUSE_DEPTH])
        + absorbed / (rho_c * sub[at.SOLID_THICKNESS])
    )
    coated = flux * film_share * _flux_rise(seconds, film + skin, k / rho_c, rho_c)
    rise = hot * np.maximum(bare, coated) + strip
    margin = _stop_margin(rise, seconds, sub[at.LN_FREQUENCY], sub[at.ACTIVATION], sub[at.LIMIT])
    return np.minimum(margin, _glue_margin(hot * absorbed, strip, rho_c, sub[at.GLUE_DEPTH], sub[at.GLUE]))
