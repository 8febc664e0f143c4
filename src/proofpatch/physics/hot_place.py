"""How hot the hottest place under a swept line gets: three clocks, one inside the other.

A pulse stands on the heat of its own crossing (the burst), and the crossing on the heat of earlier lines (the band
under the hand). With B(t) the rise of the face per unit of flux after t seconds, heat that comes in n equal parts a
time T apart stands, just after the last, at that part's own rise plus what the n − 1 before have left:

    ΔT = Φ B(τ)/τ + (Φ/T) [B(nT) − B(T/2)]                                        (1)

the sum over the earlier parts taken as an integral from half a period on. Heat that also leaves sideways counts as
if it had come for a shorter time (`_side_time`); in a thin part it stays (`_slab_rise`).

Fitted and derived here; held against a layered solver with sideways spreading in `benchmarks/agreement.py`, which
prints where it is off. Everything is element by element.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from proofpatch.physics.elementwise import choose, elementwise

SHORT = 1e-15  # s, instead of no time at all
THIN = 1e-12  # m, instead of no depth at all
# ∫erfcx(√s) ds/t as a rational function of x = √(Dt)/d, right at both ends, 0.11 % off at most; fitted here.
NEAR, FAR_LINEAR, FAR_SQUARE = 0.5651, 0.5651 + 4.0 / (3.0 * math.sqrt(math.pi)), 0.5651 * math.sqrt(math.pi) / 2.0
# Of 8Dt in units of w²: a moving band loses less than a still spot. Fitted to the moving Gaussian line on a thick
# solid, Peclet numbers 0.001 to 1000, 4 % off at most; a crossing takes the whole.
BAND_SIDE, CROSSING_SIDE = 0.0933, 1.0
SHORT_SWEEP = 3.0  # D/(u W) at which a short line loses three quarters of what a thin part keeps; fitted
FILM_DELAY = 0.4  # of z²/D_f, the while after the band at which the heat of a thick film is looked at; fitted
FACE_SQUARE = math.pi / 4.0  # of k ρc t: square of what a thick body has taken per unit rise of its face, steady flux
DEEP_SHARE = 0.6  # of t/B: how far a film cools what lies deeper than the face; fitted
# (how far behind the middle of the band a line is looked at, in spot radii; what a line gives there over what it gives
# in the middle, for a disc √(1 − y²) and for a Gaussian e^(−2y²)). The first stands for the middle itself.
PLACES = ((0.15, 1.0, 1.0), (0.6, 0.8, math.exp(-0.72)), (1.0, 0.0, 0.0))


@elementwise
def _flux_rise(time: Any, depth: Any, diffusivity: Any, heat_capacity: Any) -> Any:
    """Rise of the face of a thick solid per unit of flux taken within a depth.

        B(t) = ∫₀ᵗ erfcx(√(D s)/d) ds/(ρc d) ≈ (t/ρc) (d + a y)/(d² + b y d + c y²),   y = √(D t)   (1)

    Args:
        time: t, > 0 [s]; any shape.
        depth: d = 1/α, > 0; tiny where light stops at the face [m].
        diffusivity: D, > 0 [m²/s].
        heat_capacity: ρc, by volume, > 0 [J/(m³ K)].

    Returns:
        B [K m²/W].

    Source: as `heat.volume_heated_face_rise`; the rational form is ours, within 0.11 % of it.
    """
    y = np.sqrt(diffusivity * time)
    return time / heat_capacity * (depth + NEAR * y) / (depth * depth + FAR_LINEAR * y * depth + FAR_SQUARE * y * y)


@elementwise
def _side_time(time: Any, share: Any, spot_radius: Any, diffusivity: Any) -> Any:
    """Time without sideways loss that heats as much as `time` with it.

        t (arsinh z/z)²,   z² = 8 D t c/w²                                        (1)

    Args:
        time: t, > 0 [s]; any shape. share: c, how much of the still spot's spreading counts [1].
        spot_radius: w [m]. diffusivity: D [m²/s].

    Returns:
        Time [s].

    Exact for a face-heated line with c = 1 (∫ ds/√(s(1 + 8 D s/w²)), derived); here as a rational function of z²,
    fitted to 1.7 % for z up to 30. Source: ours.
    """
    q = 8.0 * diffusivity * time * share / (spot_radius * spot_radius)
    return time * (1.0 + q * (0.2814 + 0.002673 * q)) / (1.0 + q * (0.6147 + q * (0.04343 + 1.321e-4 * q)))


@elementwise
def _early_time(time: Any, thickness: Any, spot_radius: Any, diffusivity: Any) -> Any:
    """How long a slab under a band heats as a thick solid would.

        t' = t/√(1 + (π D t/L²)²), less what leaves sideways                       (1)

    Args:
        time: t [s]; any shape. thickness: L [m]. spot_radius: w [m]. diffusivity: D [m²/s].

    Returns:
        t' [s]; the rest of the time warms the slab as a whole.

    Source: ours; with it the thin limit t/(ρc L) + L/(3k) is met within 5 %.
    """
    ratio = math.pi * diffusivity * time / (thickness * thickness)
    return _side_time(time / np.sqrt(1.0 + ratio * ratio), BAND_SIDE, spot_radius, diffusivity)


@elementwise
def _slab_rise(
    time: Any, early: Any, skin_part: Any, skin: Any, rest_part: Any, rest: Any, thickness: Any, kept: Any,
    diffusivity: Any, heat_capacity: Any,
) -> Any:  # fmt: skip
    """B(t) of a slab whose back keeps its heat, under a band.

        B_L = B(t') + (A_L/(ρc L)) (t − t')                                        (1)

    Args:
        time, early: t and t' of `_early_time` [s]; any shape.
        skin_part, rest_part: shares of the light taken near the face and deep [1].
        skin, rest: within what depth [m]. thickness: L [m].
        kept: share of all that the slab takes and does not lose along the sweep [1].

    Returns:
        B_L, for unit flux that arrives [K m²/W].

    Source: ours.
    """
    thick = skin_part * _flux_rise(early, skin, diffusivity, heat_capacity)
    thick = thick + rest_part * _flux_rise(early, rest, diffusivity, heat_capacity)
    return thick + kept / (heat_capacity * thickness) * (time - early)


@elementwise
def _brief_rise(
    time: Any, skin_part: Any, skin: Any, rest_part: Any, rest: Any, diffusivity: Any, heat_capacity: Any
) -> Any:
    """B(t) of one crossing, in which the heat taken deep does not move; arguments as of `_slab_rise`."""
    near = skin_part * _flux_rise(time, skin, diffusivity, heat_capacity)
    return near + rest_part * time / (heat_capacity * rest)


@elementwise
def _share_before(place: Any) -> Any:
    """Share of a band's dose that lines up to `place` (−1 to 1, in spot radii behind the middle) have given."""
    y = np.minimum(np.maximum(place, -1.0), 1.0)
    return 0.5 + y * (0.7 - 0.2 * y * y)


@elementwise
def _after(distance: Any, time: Any, diffusivity: Any) -> Any:
    """√π ierfc(z/(2 √(D t))) √t: rise at z from a plane of steady heat, over what it is at z = 0 after unit time.

    The integral of erfc as e^(−x(1.77 + 0.7 x)), at most 0.01 off (SciPy's erfc, in the tests).
    """
    x = distance / (2.0 * np.sqrt(diffusivity * time))
    return np.sqrt(time) * np.exp(-x * (1.77 + 0.7 * x))


@elementwise
def _through_film(time: Any, share: Any, way: Any, film: Any, film_diffusivity: Any, contrast: Any, ratio: Any) -> Any:
    """Rise below a film times (b_f + b) √π/2 per unit of steady flux set free in it, `way` above the substrate.

        Σ R^n [s(z + 2nh) + s(2h − z + 2nh)],   s of `_after`,   R = (b_f − b)/(b_f + b)   (1)
        Σ from n = 1 on ≈ R/(1 − R) s at the mean of n, 1/(1 − R)                          (2)

    which is the sum over the images of the source in the film's face and in the substrate's (b = √(k ρc)); a series
    of alternating sign where the substrate is the better conductor. `ratio` is 1/(1 − R), `share` how much of the
    time counts.

    Source: (1) images as Carslaw & Jaeger (1959) 12.8 has them for two layers (from memory; checked against the
    layered solver), (2) ours.
    """
    t, mirror = share * time, 2.0 * film - way
    return (
        _after(way, t, film_diffusivity)
        + _after(mirror, t, film_diffusivity)
        + contrast * ratio * (
            _after(way + 2.0 * film * ratio, t, film_diffusivity)
            + _after(mirror + 2.0 * film * ratio, t, film_diffusivity)
        )
    )  # fmt: skip


@elementwise
def _film_rise(
    seconds: Any, early: Any, film: Any, film_conductivity: Any, film_capacity: Any, optical: Any, left: Any,
    thickness: Any, conductivity: Any, heat_capacity: Any,
) -> Any:  # fmt: skip
    """Rise of the substrate's face per unit of flux that stays as heat in the film above it, under a band or after.

    The highest of (1) at the end of the band and a while later, when what the film holds arrives; of a well-mixed
    film, whose capacity counts as a skin of h' ρc_f/ρc, where the film is the better conductor; and of the common rise
    of film and substrate, t/(ρc L + ρc_f h'). The heat is held by h' = h (1 + left)/2 and has to cross what is left.

    Args:
        seconds, early: t of the band and t' of `_early_time` [s]; any shape.
        film, film_conductivity, film_capacity: h, k_f, ρc_f. optical: α h of the film [1].
        left: share of the film that the band leaves [1].
        thickness, conductivity, heat_capacity: L, k, ρc of the substrate.

    Returns:
        Rise over flux [K m²/W].

    Source: (1) of `_through_film`; the rest ours, held against the layered solver (benchmarks/agreement.py).
    """
    d, d_film = conductivity / heat_capacity, film_conductivity / film_capacity
    b, b_film = np.sqrt(conductivity * heat_capacity), np.sqrt(film_conductivity * film_capacity)
    contrast, ratio = (b_film - b) / (b_film + b), 0.5 * (b_film + b) / b
    held = np.maximum(film * (0.5 + 0.5 * left), THIN)
    middle = 1.0 / (2.0 + optical / 3.0 * (1.0 + 2.0 * optical / (optical + 6.0)))  # where the light is taken, of h
    way = np.maximum(film * (1.0 - middle) * left, THIN)
    whole = heat_capacity * thickness + film_capacity * held
    delay = FILM_DELAY * way * way / d_film + SHORT
    # What of the time counts as of a thick solid: at first, a while later, and for the while alone.
    wide = early / seconds * np.sqrt(1.0 + (math.pi * d * seconds / (thickness * thickness)) ** 2)
    later = seconds + delay
    late = wide / np.sqrt(1.0 + (math.pi * d * later / (thickness * thickness)) ** 2)
    brief = wide / np.sqrt(1.0 + (math.pi * d * delay / (thickness * thickness)) ** 2)
    unit = 2.0 / (math.sqrt(math.pi) * (b_film + b))
    end = unit * _through_film(seconds, early / seconds, way, held, d_film, contrast, ratio)
    end = end + (seconds - early) / whole
    arriving = unit * (
        _through_film(later, late, way, held, d_film, contrast, ratio)
        - _through_film(delay, brief, way, held, d_film, contrast, ratio)
    )
    arriving = arriving + (later * (1.0 - late) - delay * (1.0 - brief)) / whole
    mixed = _flux_rise(early, held * film_capacity / heat_capacity, d, heat_capacity)
    mixed = mixed * np.exp(-0.5 * way / np.sqrt(d_film * seconds)) + (seconds - early) / whole
    highest = np.maximum(np.maximum(end, arriving), choose(contrast > 0.0, mixed, 0.0))
    return np.maximum(highest, seconds / whole)


@elementwise
def _share_beside_film(
    seconds: Any, early: Any, film: Any, film_conductivity: Any, film_capacity: Any, per_skin: Any, conductivity: Any,
    heat_capacity: Any,
) -> Any:  # fmt: skip
    """What the substrate keeps of its rise under a film that lets the light through and takes heat from the face.

        C/(C + C_f),   C = max(0.886 √(k ρc t'), 0.6 t/B(t)),   C_f = 1/√(1/(ρc_f h)² + 1/(0.886² k_f ρc_f t))   (1)

    Two thick bodies share as √(kρc) has it; a thin film takes part with all it holds; light taken deep is out of its
    reach. For the hottest depth of the substrate, not its face.

    Args:
        seconds, early: t of the band and t' of `_early_time` [s]; any shape. film: h of what stays [m].
        film_conductivity, film_capacity, conductivity, heat_capacity: k_f, ρc_f, k, ρc.
        per_skin: B(t) of `_flux_rise` for the skin [K m²/W].

    Returns:
        Share, at most 1 [1].

    Source: ours, held against the layered solver (benchmarks/agreement.py).
    """
    own = np.maximum(np.sqrt(FACE_SQUARE * conductivity * heat_capacity * early), DEEP_SHARE * seconds / per_skin)
    holds, reaches = film_capacity * np.maximum(film, THIN), FACE_SQUARE * film_conductivity * film_capacity * seconds
    takes = holds * np.sqrt(reaches / (reaches + holds * holds))
    return own / (own + takes)


@elementwise
def _hot_place(
    power: Any, rate: Any, pulse_width: Any, spot_radius: Any, sweep: Any, sweep_speed: Any, travel: Any,
    top_hat: Any, skin_part: Any, skin_depth: Any, rest_part: Any, rest_depth: Any, thickness: Any, conductivity: Any,
    heat_capacity: Any,
) -> Any:  # fmt: skip
    """Rises of a bare place where lines and pulses fall worst, one pass, three-place absorption.

    Args:
        power, rate, pulse_width, spot_radius, sweep, sweep_speed, travel, top_hat: of the setting, SI; any shape.
        skin_part, rest_part: shares of the light taken in the skin and deep [1].
        skin_depth, rest_depth: within what depths [m]. thickness: of the part [m].
        conductivity, heat_capacity: k, ρc.

    Returns:
        (band, peak, crossing, pulse, early): the band's own rise once the hand has passed; the highest rise, just
        after a pulse; what of it the last crossing has brought, and what the last pulse alone [K]; and t' of the
        whole band as `_film_rise` takes it [s].

    Agreement: see the module's note. Source: (1) of the module.
    """
    w, d = spot_radius, conductivity / heat_capacity
    skin, rest = np.maximum(skin_depth, THIN), np.maximum(rest_depth, THIN)
    energy, period, line = power / rate, 1.0 / rate, sweep / sweep_speed
    peak = (2.0 - top_hat) * energy / (math.pi * w * w)

    # One crossing through the middle of a line: so many pulses of the peak fluence, one period apart.
    along = (top_hat * 2.0 / math.pi + (1.0 - top_hat) * math.sqrt(2.0 / math.pi)) * energy * rate / (sweep_speed * w)
    seconds = along / (peak * rate)
    middle = np.maximum(0.6 * seconds - 0.2 * period, SHORT)
    pulse = peak / pulse_width * _brief_rise(pulse_width, skin_part, skin, rest_part, rest, d, heat_capacity)
    gone = _side_time(0.5 * period, CROSSING_SIDE, w, d)
    halfway = _side_time(middle, CROSSING_SIDE, w, d)
    over = _side_time(seconds, CROSSING_SIDE, w, d)
    gone = peak * rate * _brief_rise(gone, skin_part, skin, rest_part, rest, d, heat_capacity)
    halfway = peak * rate * _brief_rise(halfway, skin_part, skin, rest_part, rest, d, heat_capacity)
    over = peak * rate * _brief_rise(over, skin_part, skin, rest_part, rest, d, heat_capacity)
    # In the middle of the spot a whole pulse on half the burst; at its end a weaker pulse on all of it.
    fading = 0.7 + 0.2 / np.maximum(seconds * rate, 1.0)
    inside = pulse + np.maximum(halfway - gone, 0.0)
    leaving = fading * pulse + np.maximum(over - gone, 0.0)
    crossing = np.maximum(inside, leaving)
    lone = choose(inside >= leaving, pulse, fading * pulse)

    # The band of earlier lines, for a place that lies so far behind the middle of the band.
    taken = skin_part * (1.0 - np.exp(-thickness / skin)) + rest_part * (1.0 - np.exp(-thickness / rest))
    kept = taken / (1.0 + SHORT_SWEEP * d / (travel * sweep))
    dose = power / (travel * sweep)
    early = _early_time(0.5 * line, thickness, w, d)
    first = _slab_rise(0.5 * line, early, skin_part, skin, rest_part, rest, thickness, kept, d, heat_capacity)
    highest = 0.0
    band = 0.0
    own = 0.0
    for y, disc, gaussian in PLACES:
        time = (1.0 + y) * w / travel
        early = _early_time(time, thickness, w, d)
        rise = _slab_rise(time, early, skin_part, skin, rest_part, rest, thickness, kept, d, heat_capacity)
        earlier = _share_before(y - 0.5 * travel * line / w) * dose * np.maximum(rise - first, 0.0)
        earlier = earlier / np.maximum(time - 0.5 * line, 0.05 * time)
        lit = top_hat * disc + (1.0 - top_hat) * gaussian
        now = earlier + crossing * lit
        own = choose(now > highest, crossing * lit, own)
        highest = np.maximum(highest, now)
        band = dose / time * rise
    return band, np.maximum(highest, band), own, np.minimum(lone, own), early
