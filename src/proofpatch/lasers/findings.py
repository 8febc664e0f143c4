"""What one day's readings say: spot, caustic, growth by a lift, power, burn card."""

from __future__ import annotations

import datetime
import functools
import math
import operator
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtrit

from proofpatch.errors import InputError
from proofpatch.lasers import Laser
from proofpatch.lasers.caustic import LEAST_STAND_OFFS, Caustic, fit_caustic
from proofpatch.lasers.estimate import NINE_IN_TEN, Estimate
from proofpatch.lasers.lift import USUAL_EXCESS, Growth, spot_growth, spots_of_marks
from proofpatch.lasers.marks import LEAST_ENERGIES, LEAST_MARKS, MarkFit, fit_marks
from proofpatch.lasers.readings import Reading
from proofpatch.units import show

SAME = 0.01  # pulse energies this near to each other are one
GREATEST_EXCESS = 1e3
_TOO_MUCH = 1.05  # over the laser's limit: a slip of the pen, not a reading


@dataclass(frozen=True)
class Finding:
    """What one day's readings say of one thing.

    kind: spot, caustic, growth, power or card. figures: by name, SI. made_of: "6 marks on black card". verdict: of a
    growth, on what was known before. share: of the top-hat, where the marks themselves set it [1].
    """

    date: datetime.date
    kind: str
    figures: Mapping[str, Estimate]
    made_of: str
    verdict: str = ""
    share: float | None = None


def check_dialled(laser: Laser, reading: Reading) -> None:
    """Refuses what this laser cannot have been set to.

    Raises:
        InputError: a pulse energy or a power beyond its limits.
    """
    most = max(energy for _, energy in laser.energy_limits)
    for field, energies in (
        ("marks", [e for e, _ in reading.marks]),
        ("lifts", [e for _, e, _ in reading.lifts]),
        ("cards", [e for e, _ in reading.cards]),
    ):
        if max(energies, default=0.0) > most * _TOO_MUCH:
            said = f"A pulse of {show(max(energies), 'energy')} is more than this laser gives, {show(most, 'energy')}."
            raise InputError(field, said, "Check the unit.")
    dialled = max((p for p, _ in reading.power), default=0.0)
    if dialled > laser.max_power * _TOO_MUCH:
        said = f"{show(dialled, 'power')} set is more than this laser gives, {show(laser.max_power, 'power')}."
        raise InputError("power", said, "Check the unit.")


def findings_of(
    laser: Laser, reading: Reading, thresholds: Mapping[str, tuple[Estimate, Estimate]]
) -> Iterable[Finding]:
    """The findings of one day; `thresholds`: (fluence, energy) of materials marked before."""
    if reading.power:
        power = power_of(reading)
        laser = replace(laser, power_factor=power.figures["power_factor"].value)
        yield power
    fit = None
    marked = [(e, d) for e, d in reading.marks if d > 0]
    enough = len(marked) >= LEAST_MARKS and len({e for e, _ in marked}) >= LEAST_ENERGIES
    if reading.marks and (enough or not reading.lifts):
        fit = _marks(laser, reading)
        yield _spot(reading, fit)
        laser = replace(laser, spot_radius=fit.spot_radius.value)
    known = (fit.threshold_fluence, fit.threshold_energy) if fit else thresholds.get(reading.material or "?")
    if fit:
        share = fit.top_hat_share.value
    else:
        share = laser.top_hat_share if reading.top_hat_share is None else reading.top_hat_share
    lifts = reading.lifts
    if reading.lifts and not fit:
        lifts += tuple((0.0, e, d) for e, d in marked)  # they make no fit of their own, but stand for no lift
    if reading.lifts and len({z for z, _, _ in lifts} | ({0.0} if fit else set())) >= LEAST_STAND_OFFS:
        yield _caustic(laser, reading, lifts, known, fit, share)
    elif reading.lifts:
        yield _growth(laser, reading, known, share)
    yield from cards_of(reading)


def power_of(reading: Reading) -> Finding:
    """Measured over dialled, from all of a day's pairs."""
    ratios = np.array([measured / dialled for dialled, measured in reading.power])
    factor, count = float(ratios.mean()), len(ratios)
    scatter = float(ratios.std(ddof=1) * stdtrit(count - 1, NINE_IN_TEN)) / math.sqrt(count) if count > 1 else 0.0
    half = math.hypot(factor * reading.meter_error, scatter)
    made_of = f"{count} reading{'s' if count > 1 else ''} of the power meter"
    return Finding(
        reading.date, "power", {"power_factor": Estimate(factor, max(factor - half, 0.0), factor + half)}, made_of
    )


def _marks(laser: Laser, reading: Reading) -> MarkFit:
    stated = laser.top_hat_share if reading.top_hat_share is None else reading.top_hat_share
    energies = [e * laser.power_factor for e, _ in reading.marks]
    share = None if reading.fit_share else stated
    return fit_marks(energies, [d for _, d in reading.marks], share, reading.reading_error)


def _on(material: str) -> str:
    return f" on {material}" if material else ""


def _spot(reading: Reading, fit: MarkFit) -> Finding:
    figures = {
        "spot_radius": fit.spot_radius,
        "threshold_energy": fit.threshold_energy,
        "threshold_fluence": fit.threshold_fluence,
        "top_hat_share": fit.top_hat_share,
    }
    own = reading.fit_share or reading.top_hat_share is not None
    made_of = f"{fit.marks} marks{_on(reading.material)}"
    return Finding(reading.date, "spot", figures, made_of, share=fit.top_hat_share.value if own else None)


def _caustic(
    laser: Laser,
    reading: Reading,
    lifts: Sequence[tuple[float, float, float]],
    known: tuple[Estimate, Estimate] | None,
    fit: MarkFit | None,
    share: float,
) -> Finding:
    """The beam about its focus, its interval spanning what the threshold of the material leaves open."""
    if known is None:
        raise InputError(
            "lifts",
            "What pulse energy just marks this material is not known.",
            "Add marks in focus at several pulse energies on the same material.",
        )
    energies = [e * laser.power_factor for _, e, _ in lifts]
    radii = spots_of_marks(energies, [d for _, _, d in lifts], known[0], share)
    z = [z for z, _, _ in lifts]
    if fit:
        z, radii = [*z, 0.0], np.column_stack([radii, np.full(len(radii), fit.spot_radius.value)])
    fits = [fit_caustic(z, row, laser.wavelength, reading.reading_error / 2) for row in radii]
    names = {"spot_radius": "waist_radius", "m2": "m2", "rayleigh_range": "rayleigh_range", "focus": "focus"}
    figures = {name: _spanning(fits, key) for name, key in names.items()}
    return Finding(reading.date, "caustic", figures, f"marks at {len(set(z))} stand-offs{_on(reading.material)}")


def _spanning(fits: Sequence[Caustic], key: str) -> Estimate:
    found: list[Estimate] = [getattr(fit, key) for fit in fits]
    return functools.reduce(operator.or_, found)


def _growth(laser: Laser, reading: Reading, known: tuple[Estimate, Estimate] | None, share: float) -> Finding:
    """How much the spot grew by one lift, against what was known before."""
    away = [(z, e, d) for z, e, d in reading.lifts if z != 0]
    if not away or max(abs(z) for z, _, _ in away) > min(abs(z) for z, _, _ in away) * (1 + SAME):
        raise InputError(
            "lifts",
            f"{len({z for z, _, _ in reading.lifts})} stand-offs are neither one lift nor a whole caustic.",
            f"Give one lift, or at least {LEAST_STAND_OFFS} stand-offs on both sides of focus.",
        )
    lift, energy = abs(away[0][0]), away[0][1]
    at_focus = [(e, d) for e, d in reading.marks] + [(e, d) for z, e, d in reading.lifts if z == 0]
    focus = [d for e, d in at_focus if abs(e / energy - 1) <= SAME]
    if not focus or any(abs(e / energy - 1) > SAME for _, e, _ in away):
        raise InputError(
            "lifts",
            "There is no mark in focus of the lifted pulse energy.",
            "Give marks of one and the same pulse energy, in focus and lifted.",
        )
    excess = USUAL_EXCESS
    if known is not None:
        dialled = energy * laser.power_factor
        least = max(dialled / known[1].high, 1.0) if math.isfinite(known[1].high) else 1.0
        excess = (least, max(min(dialled / max(known[1].low, 1e-30), GREATEST_EXCESS), least))
    growth = spot_growth(
        focus, [d for _, _, d in away], lift, laser.rayleigh_range, share, reading.reading_error, excess
    )
    quality = np.pi * laser.spot_radius**2 / laser.wavelength
    figures = {"growth": growth.growth, "rayleigh_range": growth.rayleigh_range, "m2": _over(quality, growth)}
    made_of = f"{len(focus)} mark{'s' if len(focus) > 1 else ''} in focus and {len(away)} lifted {show(lift, 'length')}"
    return Finding(reading.date, "growth", figures, made_of + _on(reading.material), growth.verdict)


def _over(top: float, growth: Growth) -> Estimate:
    """top/z_R: M² of the spot that opens over this Rayleigh range."""
    z = growth.rayleigh_range
    value, low, high = (0.0 if math.isinf(r) else top / r for r in (z.value, z.high, z.low))
    return Estimate(value, low, high)


def cards_of(reading: Reading) -> Iterable[Finding]:
    """The mean mark of each pulse energy."""
    left = list(reading.cards)
    while left:
        energy = left[0][0]
        same = [d for e, d in left if abs(e / energy - 1) <= SAME]
        left = [(e, d) for e, d in left if abs(e / energy - 1) > SAME]
        mean, half = float(np.mean(same)), reading.reading_error / math.sqrt(len(same))
        figures = {"mark_diameter": Estimate(mean, mean - half, mean + half), "pulse_energy": Estimate(*[energy] * 3)}
        yield Finding(reading.date, "card", figures, f"{len(same)} at {show(energy, 'energy')}{_on(reading.material)}")
