"""What one setting does to one surface: how much coating is left, how near the substrate is to harm.

The closed forms of removal, heat and dose put together for a single concrete surface (a *draw*) and one
setting under a human hand. Everything is element by element: with arrays of draws against arrays of
settings it is plain NumPy, and `learn.kernels` compiles the very same body.

Two numbers decide. `log_need` is ln X, X the dose this surface needs over the dose it gets, with its
spread from place to place: it carries "how much is left". `margin` is the natural log of the factor by
which heat or fluence could still grow before the substrate shows a tint on 0.1 % of the area.

The order of the steps and the choice of closed forms are ours; each form names its own source where it is
defined. Agreement with a layered solver and a pulse-by-pulse dose map is a later study; the discrepancy
terms of the belief stand for the error meanwhile.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from proofpatch.physics import rows as at
from proofpatch.physics.beam import _encircled_share, _mean_fluence, _peak_fluence, _threshold_radius
from proofpatch.physics.clocks import _bulk_margin, _flash_margin, _glue_margin, _stop_margin, _strip_margin
from proofpatch.physics.coverage import _count_regularity, _missed_share
from proofpatch.physics.elementwise import choose, elementwise, normal_cdf, normal_quantile
from proofpatch.physics.heat import _volume_heated_face_rise
from proofpatch.physics.optics import _mean_transmitted_share
from proofpatch.physics.removal import _disc_depth_moments, _mean_incubation, _plume_saturation

CLOCKS = ("flash", "strip", "bulk", "glue line", "stop")
REFERENCE_WIDTH = 100e-9  # s, at which thresholds are tabulated
WARM_FLOOR = 0.1  # a film at its decomposition temperature keeps this share of its threshold; from memory, unverified
INCUBATION_HITS = 100.0  # incubation saturates; from memory, unverified
LIFT_SPREAD = 0.5  # ln spread of the work of removal from place to place; from memory, unverified
SOAK_WIDTH = 10.0  # K, over which a film melts; from memory, unverified
LEAST_SPREAD = 0.05  # no surface is more even than this; from memory, unverified
BARE_SHARE = 0.001  # harm counts once this share of the area is bare and marked (the contract's 0.1 %)
ABSENT = 1e-9  # m; a layer thinner than this is not there


class Beam(NamedTuple):
    """What a setting is before it meets a surface; SI."""

    energy: Any
    mean: Any  # fluence
    peak: Any  # fluence
    far_radius: Any  # spot one spread of stand-off out of focus
    blur: Any  # (stand-off / Rayleigh range)²
    pulse_pitch: Any
    line_pitch: Any
    density: Any  # pulses per area and pass
    dose: Any  # of one pass
    band_dose: Any  # of the band a place sees without a rest
    seconds: Any  # it sees it
    hits: Any  # per place, all passes, as far as incubation counts them
    log_width: Any  # ln(τ/100 ns)


@elementwise
def beam_of(setting: Any, hand: Any) -> Any:
    """The Beam of a setting row; every entry a number or an array of settings."""
    energy = setting[at.POWER] / setting[at.RATE]
    w = setting[at.SPOT]
    pulse_pitch = setting[at.SWEEP_SPEED] / setting[at.RATE]
    line_pitch = setting[at.TRAVEL] * setting[at.SWEEP] / setting[at.SWEEP_SPEED]
    density = 1.0 / (pulse_pitch * line_pitch)
    # The band: a place is under it while the hand crosses a spot; with lines apart, while one line crosses.
    apart = line_pitch > 2.0 * w
    seconds = choose(apart, 2.0 * w / setting[at.SWEEP_SPEED], 2.0 * w / setting[at.TRAVEL])
    dose = energy * density
    band_dose = choose(apart, setting[at.POWER] / (2.0 * w * setting[at.SWEEP_SPEED]), dose)
    blur = (hand[at.STAND_OFF] / setting[at.RAYLEIGH]) ** 2
    far = w * np.sqrt(1.0 + blur)
    hits = np.minimum(np.maximum(density * math.pi * far * far * setting[at.PASSES], 1.0), INCUBATION_HITS)
    mean, peak = _mean_fluence(energy, w), _peak_fluence(energy, w, setting[at.TOP_HAT])
    log_width = np.log(setting[at.WIDTH] / REFERENCE_WIDTH)
    return Beam(
        energy, mean, peak, far, blur, pulse_pitch, line_pitch, density, dose, band_dose, seconds, hits, log_width
    )


@elementwise
def _threshold(layer: Any, i: int, beam: Any, used: Any, warm: Any, setting: Any) -> Any:
    """(threshold [J/m²], share of the energy that still stays as heat) of a layer in this pass, any shape.

        F_th(N, τ) = F_th (τ/100 ns)^x  N^(S−1)/S  max(1 − η ΔT/ΔT_dec, floor)

    Ablation carries heat off, so it lowers the film's warming ΔT, and warming lowers the threshold. The first
    turn errs to one side of the fixed point, the second to the other; their mean is taken.
    """
    cold = (
        layer[i, at.THRESHOLD]
        * np.exp(layer[i, at.WIDTH_EXPONENT] * beam.log_width)
        * _mean_incubation(beam.hits, layer[i, at.INCUBATION])
    )
    threshold, eta, total_threshold, total_eta = cold, 1.0, 0.0, 0.0
    for _ in range(2):
        radius = _threshold_radius(threshold, used, setting[at.SPOT], setting[at.TOP_HAT])
        eta = 1.0 - (1.0 - layer[i, at.RESIDUAL_HEAT]) * _encircled_share(radius, setting[at.SPOT], setting[at.TOP_HAT])
        threshold = cold * np.maximum(1.0 - eta * warm / layer[i, at.DECOMPOSITION], WARM_FLOOR)
        total_threshold = total_threshold + 0.5 * threshold
        total_eta = total_eta + 0.5 * eta
    return total_threshold, total_eta


@elementwise
def _layer_removal(
    layer: Any, i: int, beam: Any, used: Any, threshold: Any, setting: Any, hand: Any, depth_factor: Any
) -> Any:
    """(dose needed over dose given, its ln variance, missed share, depth per pass [m]) of one layer, any shape.

    Out of focus by one spread of the hand; misses, count statistics, hand and thickness make the variance.
    """
    area, volume, square = _disc_depth_moments(
        used, beam.far_radius, setting[at.TOP_HAT], threshold, layer[i, at.DEPTH]
    )
    per_pass = beam.density * volume * depth_factor * setting[at.MIDDLE]
    n = setting[at.PASSES]
    need = layer[i, at.THICKNESS] / np.maximum(per_pass * n, 1e-15)
    radius = np.sqrt(area / math.pi)
    kappa = _count_regularity(radius, beam.pulse_pitch, beam.line_pitch)
    counts = np.log1p(kappa * square / np.maximum(n * beam.density * volume * volume, 1e-60))
    steep = 1.0 / np.maximum(np.log(np.maximum(beam.mean / threshold, 1.0)), 0.3)  # d ln(depth)/d ln(fluence)
    wobble = hand[at.SPEED_SPREAD] ** 2 / n + 2.0 * (beam.blur * steep) ** 2
    variance = layer[i, at.THICKNESS_SPREAD] ** 2 + np.minimum(counts, 4.0) + wobble
    missed = choose(area > 0.0, _missed_share(radius, beam.pulse_pitch, beam.line_pitch, n), 1.0)
    return need, variance, missed, per_pass


@elementwise
def _lifted_share(interface: Any, onset: Any, conversion: Any, work: Any, beam: Any, setting: Any) -> Any:
    """Share of the area thrown off from below, any shape: η_m (E_interface − E_gas) against Γ = G + h U_b."""
    push = conversion * np.maximum(interface - onset, 0.0)
    share = normal_cdf(np.log(np.maximum(push / work, 1e-9)) / LIFT_SPREAD)
    return share * (1.0 - _missed_share(beam.far_radius, beam.pulse_pitch, beam.line_pitch, setting[at.PASSES]))


@elementwise
def _last_pass(need: Any, passes: Any, optical: Any, into: Any) -> Any:
    """(share of the light that reaches the substrate, share the film takes) in the last pass, any shape.

    The film covers the first part of that pass, thinning as it goes; then the substrate is bare.
    """
    needed = np.maximum(passes * need, 1e-9)
    covered = np.minimum(np.maximum(needed - (passes - 1.0), 0.0), 1.0)
    start = np.minimum(np.maximum((needed - passes + 1.0) / needed, 0.0), 1.0)
    end = np.minimum(np.maximum((needed - passes) / needed, 0.0), 1.0)
    through = np.exp(-optical * end) * _mean_transmitted_share(optical * np.maximum(start - end, 0.0))
    return covered * into * through + (1.0 - covered), covered * into * (1.0 - through)


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
    optical, film, film_heat, toughness = 0.0, 0.0, 0.0, 0.0
    for i in range(count):
        optical = optical + layer[i, at.ABSORPTION] * layer[i, at.THICKNESS]
        film = film + layer[i, at.THICKNESS]
        film_heat = film_heat + layer[i, at.FILM_HEAT] * layer[i, at.THICKNESS]
        toughness = toughness + layer[i, at.TOUGHNESS] * layer[i, at.THICKNESS]
    film = np.maximum(film, ABSENT)
    film_heat = np.maximum(film_heat / film, 1e3)
    film_k, into = layer[0, at.FILM_CONDUCTIVITY], 1.0 - layer[0, at.REFLECTANCE]
    transmitted = np.exp(-optical)
    k, rho_c, heat = sub[at.CONDUCTIVITY], sub[at.HEAT_CAPACITY], sub[at.HEAT_FACTOR]
    diffusivity = k / rho_c
    skin = np.maximum(sub[at.SKIN_DEPTH], 1e-9)
    skin_taken = sub[at.ABSORPTANCE] * sub[at.SKIN_SHARE]
    pulse_reach = np.sqrt(math.pi * diffusivity * setting[at.WIDTH]) / 2.0  # depth one pulse heats by conduction alone

    # Rise of the face per unit of flux: into the skin, into the film over a poor and over a good heat sink.
    flux = beam.band_dose / beam.seconds
    per_skin = _volume_heated_face_rise(beam.seconds, 1.0, k, diffusivity, 1.0 / skin)
    per_film = _volume_heated_face_rise(beam.seconds, 1.0, film_k, film_k / film_heat, 1.0 / film)
    per_both = _volume_heated_face_rise(beam.seconds, 1.0, k, diffusivity, 1.0 / (film + skin))
    skin_rise = flux * into * transmitted * skin_taken * per_skin * heat
    film_flux = flux * into * (1.0 - transmitted)
    warm = film_flux * np.minimum(per_film, film / (2.0 * film_k) + per_both) * heat + skin_rise

    # From above, layer by layer.
    through_plume = _plume_saturation(beam.mean, layer[0, at.PLUME])
    used = beam.energy * through_plume / beam.mean
    need, need_all, variance, missed, per_pass, kept, soak = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for i in range(count):
        there = layer[i, at.THICKNESS] > ABSENT
        threshold, eta = _threshold(layer, i, beam, used, warm, setting)
        share, wide, gap, depth = _layer_removal(layer, i, beam, used, threshold, setting, hand, sub[at.DEPTH_FACTOR])
        share = choose(there, share, 0.0)
        need_all = need_all + share
        kept = kept + eta * choose(there, layer[i, at.THICKNESS], 0.0) / film
        melted = 1.0 / (1.0 + np.exp(np.minimum((layer[i, at.SOAK_RISE] - eta * warm) / SOAK_WIDTH, 50.0)))
        soak = np.maximum(soak, choose(there, layer[i, at.SOAK_SHARE] * melted, 0.0))
        if i <= target:
            need = need + share
            variance = variance + share * share * wide
            missed = np.maximum(missed, choose(there, gap, 0.0))
            per_pass = depth
    need, need_all = np.maximum(need, 1e-9), np.maximum(need_all, 1e-9)
    spread = np.maximum(np.sqrt(variance) / need, LEAST_SPREAD)

    # From below: light through the whole stack turns the skin to gas and throws the film off.
    gas = choose(sub[at.GAS] > 0.0, sub[at.GAS], layer[count - 1, at.DECOMPOSITION])
    onset = rho_c * (skin + pulse_reach) * np.maximum(gas - skin_rise, 0.0)
    interface = through_plume * into * transmitted * skin_taken
    work = layer[count - 1, at.BOND] + toughness
    lifted = _lifted_share(interface, onset, sub[at.GAS_CONVERSION] * sub[at.LIFT_FACTOR], work, beam, setting)

    # Share left, and the same as one log need (a quantile only where misses or lift change it).
    straight = np.log(need)
    left = normal_cdf(straight / spread)
    left = (left + missed * (1.0 - left)) * (1.0 - lifted)
    left = np.maximum(left, soak * (1.0 - left))
    folded = spread * normal_quantile(np.minimum(np.maximum(left, 1e-9), 0.9995))
    log_need = choose((straight > 3.0 * spread) & (lifted < 1e-3), straight, folded)

    # Heat of the last pass, in the substrate and from the film that is left.
    reaching, film_share = _last_pass(need_all * (1.0 - lifted), n, optical, into)
    film_share = film_share * np.minimum(kept, 1.0)
    diffuse = (
        sub[at.ABSORPTANCE] * (1.0 - sub[at.SKIN_SHARE]) * beam.band_dose * reaching / (rho_c * sub[at.DIFFUSE_DEPTH])
    )
    hot = setting[at.EDGE] * heat
    strip = hot * (flux * (skin_taken * reaching * per_skin + film_share * per_both) + diffuse)
    spike = 0.5 * skin_taken * beam.mean * reaching * heat / (rho_c * (skin + pulse_reach))
    absorbed = beam.dose * (sub[at.ABSORPTANCE] * reaching + film_share) * heat
    bulk = n * absorbed / (rho_c * sub[at.SOLID_THICKNESS])

    # Worst 0.1 % of the area: slow hand and dark grain for heat, grain for flash; flash needs bare substrate.
    kinetics = (sub[at.LN_FREQUENCY], sub[at.ACTIVATION], sub[at.LIMIT])
    worst = hand[at.QUANTILE] * np.sqrt(hand[at.SPEED_SPREAD] ** 2 + sub[at.SPREAD] * sub[at.SPREAD])
    covered = np.maximum(1.0 - (1.0 - np.minimum(left, 1.0)) / BARE_SHARE, 0.0)
    flash = np.log(sub[at.FLASH_FACTOR]) - hand[at.QUANTILE] * sub[at.SPREAD] + 10.0 * covered
    flash = flash + _flash_margin(
        beam.peak,
        strip,
        setting[at.WIDTH],
        sub[at.ABSORPTANCE],
        k,
        rho_c,
        sub[at.MELT],
        sub[at.FLASH_LIMIT],
        sub[at.FLASH_WIDTH],
        sub[at.FLASH_EXPONENT],
    )
    banded = _strip_margin(strip, spike, n, skin * skin / diffusivity, kinetics[0], kinetics[1], kinetics[2]) - worst
    through = _bulk_margin(bulk, kinetics[0], kinetics[1], kinetics[2])
    glued = _glue_margin(absorbed, bulk, rho_c, sub[at.GLUE_DEPTH], sub[at.GLUE])
    margin, clock = flash, 0.0 * flash
    clock = choose(banded < margin, 1.0, clock)
    margin = np.minimum(margin, banded)
    clock = choose(through < margin, 2.0, clock)
    margin = np.minimum(margin, through)
    clock = choose(glued < margin, 3.0, clock)
    margin = np.minimum(margin, glued)
    if hand[at.STOP] > 0.0:
        stopped = setting[at.POWER] / (2.0 * setting[at.SPOT] * setting[at.SWEEP])
        still = _stop_margin(
            stopped, hand[at.STOP], strip, sub[at.ABSORPTANCE], sub[at.SKIN_SHARE], skin, sub[at.DIFFUSE_DEPTH],
            k, rho_c, hot, kinetics[0], kinetics[1], kinetics[2],
        )  # fmt: skip
        clock = choose(still < margin, 4.0, clock)
        margin = np.minimum(margin, still)
    return log_need, spread, margin, clock, into * transmitted * sub[at.ABSORPTANCE], per_pass
