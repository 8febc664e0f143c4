"""Fire: what lights, how far a standing beam can light it, and how long to watch.

A beam that stands still lights wood at 4.3 kW/m², the lowest flux of a single study; the distance to that is counted
like a hazard distance. Hot-work rules ask 11 m whatever the beam. Everything in the beam's way at less counts as lit.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from proofpatch.hazards import distance as form
from proofpatch.hazards import limits
from proofpatch.hazards.beam import Beam
from proofpatch.materials import coating, substrate, substrate_data
from proofpatch.sources import STATUS, sources

HOT_WORK = 11.0  # m, 35 ft: 29 CFR 1910.252, NFPA 51B
LOWEST_FLUX = 4.3e3  # W/m², of wood: ignition.csv
# s: fire watch, and looks in wood, roofs, voids and old buildings; from memory, unverified
WATCH, LATER_CHECKS = 3600.0, 3 * 3600.0
ROOM_CELSIUS = 20.0
WARM_CELSIUS = 45.0  # a cap for glued wood and for hands; ours, common practice, no source


@dataclass(frozen=True)
class Fuel:
    """Something that burns.

    coatings: ids of those it stands for. celsius: at which it ignites; flux: that lights it [W/m²]; None, 0 where any
    pulse does.
    """

    material: str
    words: tuple[str, ...]
    coatings: tuple[str, ...]
    celsius: float | None
    flux: float
    note: str
    source: str
    locator: str
    status: str


@dataclass(frozen=True)
class Fire:
    """reach: of a standing beam that can light wood, from the head [m]. clear: to be free of what burns [m].

    watch, later: seconds of fire watch, and until the last look. bulk: highest mean temperature of the part [°C], None
    where it was not asked. fuels: what is named or lies below the coating.
    """

    reach: float
    clear: float
    watch: float
    later: float
    bulk: float | None
    fuels: tuple[Fuel, ...]
    notes: tuple[str, ...]


@lru_cache(maxsize=1)
def fuels() -> tuple[Fuel, ...]:
    """Every fuel of ignition.csv."""
    found = []
    with Path(__file__).with_name("ignition.csv").open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file, strict=True):
            if row["source"] not in sources() or row["status"] not in STATUS:
                raise ValueError(f"ignition.csv: {row['material']} has no known source or status.")
            celsius = float(row["celsius"]) if row["celsius"] else None
            flux = float(row["flux"]) * 1e3
            found.append(
                Fuel(row["material"], tuple(row["words"].split()), tuple(row["coatings"].split()), celsius, flux,
                     row["note"], row["source"], row["locator"], row["status"])
            )  # fmt: skip
    return tuple(found)


def lights_within(beam: Beam, flux: float = LOWEST_FLUX) -> float:
    """Distance from the head [m] within which a standing beam brings more than `flux` [W/m²]."""
    on_lens = limits.to_peak(beam.diameter)
    if beam.focal_length is None:
        assert beam.divergence is not None
        return form.direct(beam.power, flux, on_lens, limits.to_peak(beam.divergence))
    return beam.focal_length + form.beyond_focus(beam.power, flux, on_lens, beam.focal_length)


def bulk_celsius(ground: str, dose: float, thickness: float | None = None) -> float:
    """Highest mean temperature [°C] of a part after a dose [J/m²] of all passes, no heat lost.

    Everything that can be absorbed is; the thinnest the data know where the thickness [m] was not measured.
    """
    about = substrate(ground)
    data = substrate_data(ground, about.conditions[0] if about.conditions else "any")
    measured = data["thickness_default"]
    thin = thickness if thickness is not None else (measured.low if measured.low is not None else measured.value)
    heat = data["density"].value * data["specific_heat"].value * thin
    return ROOM_CELSIUS + dose / heat


def fire(
    beam: Beam,
    ground: str | None = None,
    coatings: Sequence[str] = (),
    nearby: Sequence[str] = (),
    dose: float | None = None,
    thickness: float | None = None,
) -> Fire:
    """What can burn here, and what to do about it.

    Args:
        beam: of the laser. ground, coatings: ids of the piece. nearby: words for what lies around.
        dose: of all passes [J/m²], for the mean temperature. thickness: of the part [m].
    """
    reach = lights_within(beam)
    said = set(re.findall(r"\w+", " ".join(nearby).casefold()))
    family = substrate(ground).families if ground else ("wood", "paper")
    found = [
        fuel
        for fuel in fuels()
        if fuel.material in family
        or any(word in said or f"{word}s" in said for word in fuel.words)
        or set(fuel.coatings) & set(coatings)
    ]
    notes = [
        "Treat it as hot work: permit, openings in floor and walls covered, extinguisher at hand, somebody watching.",
        "Smoke or sparks in the extractor's duct: stop, look inside, empty hot filters outdoors.",
        "Never mix metal dust with rust dust in one filter.",
    ]
    if ground is None or "wood" in family:
        notes.append("Wood smoulders unseen: look again for three hours, in cracks, end grain and voids.")
    if any("organic" in coating(key).families for key in coatings):
        notes.append("The coating itself burns: stop at flame, do not blow on it.")
    bulk = None if dose is None or ground is None else bulk_celsius(ground, dose, thickness)
    if bulk is not None and bulk > WARM_CELSIUS:
        notes.append(
            f"The part may warm to {bulk:.0f} °C on average: pause between passes, keep it under {WARM_CELSIUS:.0f} °C."
        )
    return Fire(reach, max(reach, HOT_WORK), WATCH, LATER_CHECKS, bulk, tuple(found), tuple(notes))
