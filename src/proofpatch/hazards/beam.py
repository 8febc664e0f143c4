"""Who the beam can hurt, and from how far: the conservative figures of one setting, with what was assumed.

The sweep is taken as stopped and the beam stands still for the whole exposure. Every figure is the stricter of the
rules of 2013/2014 and of the law before.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from proofpatch.errors import InputError
from proofpatch.hazards import distance as form
from proofpatch.hazards import limits
from proofpatch.physics.setting import finite_number
from proofpatch.units import show

EXPOSURE = 10.0  # s: an accidental look in the near infrared, where nothing makes one blink; ICNIRP 2013, from memory
WINDOW_EXPOSURE = 100.0  # s: barriers, windows and the public; from memory
LOWEST_RATE = 1e-2  # Hz
LONGEST_PULSE = 0.25  # s; what lasts longer is a steady beam of its peak power
VISIBLE = 700e-9  # m
# field: (words, lowest, highest, unit). What a laser or a workshop can hold; common practice, no source.
BOUNDS = {
    "power": ("Power", 1e-6, 1e6, "W"), "rate": ("Repetition rate", LOWEST_RATE, 1e9, "Hz"),
    "width": ("Pulse width", 1e-9, LONGEST_PULSE, "s"), "wavelength": ("Wavelength", 400e-9, 1e-3, "m"),
    "diameter": ("Beam diameter", 1e-5, 1.0, "m"), "divergence": ("Divergence", 1e-6, 3.0, "rad"),
    "focal_length": ("Focal length", 1e-3, 100.0, "m"), "exposure": ("Exposure", 1e-9, 3e4, "s"),
    "reflectance": ("Reflectance", 0.0, 1.0, ""),
}  # fmt: skip


@dataclass(frozen=True)
class Beam:
    """A beam as its data sheet has it.

    Args:
        power: average [W]. rate: of pulses [Hz], None for a steady beam. width: of a pulse [s].
        wavelength [m].
        diameter: 1/e² at the exit, or on the last lens [m].
        divergence: 1/e² full angle [rad], of a beam that is not focused; None where it is not known.
        focal_length: of the last lens [m]; None without one.
        exposure: how long somebody may be in the beam [s].
        reflectance: of the cleaned surface [1].

    Raises:
        InputError: a figure no laser has, or neither divergence nor focal length.
    """

    power: float
    rate: float | None = None
    width: float | None = None
    wavelength: float = 1064e-9
    diameter: float = 5e-3
    divergence: float | None = None
    focal_length: float | None = None
    exposure: float = EXPOSURE
    reflectance: float = 1.0

    def __post_init__(self) -> None:
        given = ["power", "wavelength", "diameter", "exposure", "reflectance"]
        given += ["rate", "width"] if self.rate is not None else []
        given += [name for name in ("divergence", "focal_length") if getattr(self, name) is not None]
        for name in given:
            words, low, high, unit = BOUNDS[name]
            value = getattr(self, name)
            if value is None:
                raise InputError(name, f"{words} is missing.", "A pulsed beam needs its rate and its width.")
            object.__setattr__(self, name, finite_number(name, words, value, low, high, unit))
        if self.rate is None and self.width is not None:
            raise InputError("rate", "A pulse width is given without a rate.", "Give the rate, or leave both out.")
        if self.rate is not None and self.width is not None and self.rate * self.width > 1.0:
            raise InputError("width", "The pulses are longer than their period.", "Check rate and width.")
        if self.focal_length is not None and self.focal_length < self.diameter:
            raise InputError("focal_length", "The focal length is shorter than the beam is wide.", "Check both.")
        if self.divergence is None and self.focal_length is None:
            raise InputError(
                "divergence", "Neither divergence nor focal length is given.", "Give the head's focal length."
            )

    @property
    def energy(self) -> float | None:
        """Of a pulse [J]; None for a steady beam."""
        return None if self.rate is None else self.power / self.rate


@dataclass(frozen=True)
class BeamHazards:
    """Distances count from the head, in m. eye: the governing limit; other: of the other set of rules.

    distance: direct. mirrored: off a flat shiny surface, along the whole way. diffuse: off a matt surface, from it.
    skin: direct. at_window: direct for 100 s. number_steady, number_pulsed: of eyewear, above 10 none is made.
    """

    beam: Beam
    eye: limits.Allowed
    other: limits.Allowed
    skin_limit: limits.Allowed
    distance: float
    mirrored: float
    diffuse: float
    skin: float
    at_window: float
    lens_missing: float | None
    optical_density: float
    number_steady: int
    number_pulsed: int | None
    pulse_letter: str
    governing: str
    screens: str
    assumptions: tuple[str, ...] = field(repr=False)
    marks: tuple[tuple[str, str], ...] = field(repr=False)


def beam_hazards(beam: Beam) -> BeamHazards:
    """Every figure of a beam."""
    width = beam.width or 1e-9  # of a steady beam never asked
    eye, other = limits.strictest_eye(beam.wavelength, width, beam.rate, beam.exposure)
    skin = limits.skin_allowed(beam.wavelength, width, beam.rate, beam.exposure)
    window, _ = limits.strictest_eye(beam.wavelength, width, beam.rate, max(beam.exposure, WINDOW_EXPOSURE))
    reach = _reach(beam, beam.power, eye.average)
    near = _face_diameter(beam)
    # A scale number n says an optical density of n too.
    pupil = limits.aperture(beam.wavelength)
    held = max(math.ceil(form.density_at(beam.power, eye.average, d, pupil) - 1e-9) for d in near)
    missing = None
    if beam.focal_length is not None and beam.divergence is not None:
        missing = form.direct(
            beam.power,
            eye.average,
            limits.to_peak(beam.diameter),
            limits.to_peak(beam.divergence),
        )
    return BeamHazards(
        beam=beam,
        eye=eye,
        other=other,
        skin_limit=skin,
        distance=reach,
        mirrored=_reach(beam, beam.power * beam.reflectance, eye.average),
        diffuse=form.diffuse(beam.power, eye.average, beam.reflectance),
        skin=_reach(beam, beam.power, skin.average),
        at_window=_reach(beam, beam.power, window.average),
        lens_missing=missing,
        optical_density=form.optical_density(beam.power, eye.average, limits.aperture(beam.wavelength)),
        number_steady=max(held, *(form.number_steady(beam.power, d, beam.wavelength) for d in near)),
        number_pulsed=None
        if beam.rate is None or beam.energy is None
        else max(held, *(form.number_pulsed(beam.energy, beam.rate, d, beam.wavelength) for d in near)),
        pulse_letter=form.pulse_letter(beam.width) if beam.width is not None else "D",
        governing=f"{eye.rule} ({eye.rules})",
        screens=_screens(beam),
        assumptions=_assumptions(beam),
        marks=_marks(beam),
    )


def _reach(beam: Beam, power: float, allowed: float) -> float:
    """Distance from the head [m] at which a standing beam is down to what is allowed; beyond the focus of a lens."""
    diameter = limits.to_peak(beam.diameter)
    if beam.focal_length is None:
        assert beam.divergence is not None
        return form.direct(power, allowed, diameter, limits.to_peak(beam.divergence))
    return beam.focal_length + form.beyond_focus(power, allowed, diameter, beam.focal_length)


def _face_diameter(beam: Beam) -> tuple[float, ...]:
    """1/e diameters [m] of the beam where a face may be: at the exit, and as near to the focus as one comes."""
    diameter = limits.to_peak(beam.diameter)
    if beam.focal_length is None:
        return (diameter,)
    return diameter, diameter * form.FACE / beam.focal_length


def _screens(beam: Beam) -> str:
    """What the standard for screens does and does not cover here."""
    energy = beam.energy or 0.0
    held = f"up to {show(form.SCREEN_POWER, 'power')} on average and {show(form.SCREEN_ENERGY, 'energy')} a pulse"
    if beam.power > form.SCREEN_POWER or energy > form.SCREEN_ENERGY:
        return (
            f"Screens after EN 12254 are for supervised, temporary use {held}: they do not cover this beam of "
            f"{show(beam.power, 'power')}; use guards after EN 60825-4 rated for it."
        )
    return f"Screens after EN 12254 are for supervised, temporary use {held}, for 100 s or 1000 pulses."


def _assumptions(beam: Beam) -> tuple[str, ...]:
    through = show(limits.aperture(beam.wavelength), "length")
    found = [
        f"The sweep is stopped and the beam stands still for {show(beam.exposure, 'duration')}; a moving beam is not "
        "counted as milder.",
        "Diameter and divergence are 1/e² ones, as on a data sheet; computed is with 1/e ones, a Gaussian beam's peak.",
        "A source under 1.5 mrad: no larger source is assumed.",
        f"For the optical density all power goes through {through}.",
        "No binoculars, no loupe: viewing aids multiply the distance.",
    ]
    if beam.focal_length is not None:
        found.append("The lens holds. Cracked or missing, the beam stays narrow and reaches much farther.")
        found.append(f"A face comes no nearer to the focus than {show(form.FACE, 'length')}.")
        if beam.divergence is not None:
            found.append("The divergence was given beside a lens: it counts only where the lens is missing.")
    if beam.rate is None:
        found.append("A steady beam, as no rate was given: for pulses name rate and width, the distance may be larger.")
    else:
        found.append("The pulses come evenly; bursts have to be asked by their own rate.")
    if beam.wavelength >= VISIBLE and beam.exposure < EXPOSURE:
        found.append(
            f"Only {show(beam.exposure, 'duration')} were asked; an accidental look at an invisible beam lasts "
            f"{show(EXPOSURE, 'duration')}."
        )
    if beam.exposure > EXPOSURE:
        found.append("Skin: of a small spot; large areas over more than 10 s have limits down to a hundredth.")
    if abs(beam.wavelength * 1e9 - 1050.0) <= 20.0 + 1e-6:
        found.append("At 1050 nm the limit of a short pulse doubles: be sure of the wavelength to a few nanometres.")
    if beam.reflectance >= 1.0:
        found.append("The surface reflects everything: what is painted or rusty now shines once it is clean.")
    return tuple(found)


def _marks(beam: Beam) -> tuple[tuple[str, str], ...]:
    found = [limits.MARKS["far"]] if beam.wavelength >= 1400e-9 else [
        limits.MARKS["eye"], limits.MARKS["old"], limits.MARKS["skin"], limits.MARKS["aperture"],
    ]  # fmt: skip
    if beam.rate is not None:
        found.append(limits.MARKS["train"])
    return (
        *found,
        limits.MARKS["coefficients"],
        ("hazard distance, optical density: forms of ANSI Z136.1 appendix B", "memory"),
        ("EN 207 numbers: table read in encyclopaedia copies; the correction for the spot is inferred from a German "
         "table (DGUV 203-042) and unverified", "memory"),
        ("screens: DGUV 203-042, sections 2.4 and 9, read", "published"),
    )  # fmt: skip


def plain_distance(beam: Beam) -> float:
    """The plain average-power computation of the direct distance [m], below which no answer may fall."""
    allowed = limits.eye_limit(beam.wavelength, beam.exposure) / beam.exposure
    return _reach(beam, beam.power, allowed)


def plain_density(beam: Beam) -> float:
    """The same of the optical density."""
    allowed = limits.eye_limit(beam.wavelength, beam.exposure) / beam.exposure
    return max(math.log10(beam.power / (math.pi / 4.0 * limits.EYE_APERTURE**2 * allowed)), 0.0)
