"""What a shop's hour holds: the remembered rates with their ranges, and how one is drawn."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from proofpatch.errors import InputError, expect
from proofpatch.physics.setting import finite_number
from proofpatch.sources import Datum, cite, read_table

Floats = NDArray[np.float64]
SAMPLES = 2000
MOST_SHARE = 0.9  # a day of nothing but rest is no day
SHARES = ("lane_overlap", "touching_up", "islands", "breaks")
# What a shop may know better: (smallest, largest, unit). Beyond these no shop works. Common practice, no source.
BOUNDS = {
    "set_up": (0.0, 1e6, "s"),
    "hand_factor": (1.0, 20.0, ""),
    "lane_overlap": (0.0, MOST_SHARE, ""),
    "stroke_reach": (0.02, 5.0, "m"),
    "stroke_turn": (0.0, 120.0, "s"),
    "looking": (0.0, 10.0, ""),
    "masking": (0.0, 3600.0, "s/m"),
    "clamping": (0.0, 1e5, "s"),
    "hand_finish": (0.0, 1e6, "s/m²"),
    "strip": (0.0, 1e5, "s"),
    "breaks": (0.0, MOST_SHARE, ""),
    "day": (3600.0, 86400.0, "s"),
    "learning": (0.5, 1.0, ""),
    "lens_life": (60.0, 1e8, "s"),
    "filter_holds": (1e-3, 1e3, "kg"),
}
GIVEN = tuple(BOUNDS)


@lru_cache(maxsize=1)
def rates_data() -> dict[str, Datum]:
    """The remembered rates by name."""
    return {row.keys["property"]: row.datum for row in read_table(Path(__file__).with_name("rates.csv"))}


def width_of(datum: Datum) -> float:
    """Standard deviation of the logarithm of a rate whose 90 % range is the datum's [1]."""
    return float(math.log((datum.high or datum.value) / (datum.low or datum.value)) / (2 * ndtri(0.95)))


class Draws:
    """One draw of each rate for every sample; a rate asked for twice is the same."""

    def __init__(self, given: Mapping[str, float] | None, seed: int, samples: int = SAMPLES) -> None:
        expect("rates", given or {}, Mapping, "Give {name: value}.")
        self.given = dict(given or {})
        for name in self.given:
            if name not in GIVEN:
                raise InputError("rates", f"The rate {name!r} is not known.", f"Use: {', '.join(GIVEN)}.")
            low, high, unit = BOUNDS[name]
            words = f"The rate {name}"
            self.given[name] = finite_number(f"rates.{name}", words, self.given[name], low, high, unit)
        self.samples = samples
        self.seed = seed
        self.drawn: dict[str, Floats] = {}

    def rng(self, name: str) -> np.random.Generator:
        """The generator of one name, so that a quantity more or less changes no other."""
        return np.random.default_rng([self.seed, 3, *name.encode()])

    def __getitem__(self, name: str) -> Floats:
        """Lognormal with the datum's 90 % range; the shop's own value keeps the remembered width."""
        if name not in self.drawn:
            datum = rates_data()[name]
            value = self.given.get(name, datum.value)
            found = value * np.exp(width_of(datum) * self.rng(name).standard_normal(self.samples))
            self.drawn[name] = np.minimum(found, MOST_SHARE) if name in SHARES else found
        return self.drawn[name]

    def keep(self, name: str, values: Floats) -> Floats:
        """Remember a drawn quantity that is no rate, so that its part in the doubt can be told."""
        self.drawn[name] = values
        return values

    def said(self) -> tuple[str, ...]:
        """Where the rates that were drawn come from, the shop's own first, the rest together by their mark."""
        own = [f"{name.replace('_', ' ')}: the shop's own" for name in self.given if name in self.drawn]
        marks: dict[str, list[str]] = {}
        for name, datum in rates_data().items():
            if name in self.drawn and name not in self.given:
                marks.setdefault(cite(datum), []).append(name.replace("_", " "))
        return (*own, *(f"{', '.join(names)} ({mark})" for mark, names in marks.items()))
