"""What gets into the air: mass removed, what it is made of, and the concentration beside the limits.

    G = r h ρ x a (1 − c)                                                        (1)
    C(t) = (G/Q)(1 − e^(−Q t/V)),   near the operator the larger of F C and C + G/β       (2)

r area rate [m²/s], h thickness [m], ρ density [kg/m³], x share of the agent [1], a share that becomes airborne, c share
captured at the spot, Q fresh or filtered air [m³/s], V room [m³]. At worst by default: all airborne, none captured.

Shares are upper ends, from memory, unverified (fume.csv). (2): the well-mixed room of industrial hygiene textbooks,
checked against a published exercise in the tests; F from memory.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

from proofpatch.errors import InputError
from proofpatch.materials import coating, coating_data, coating_ids, substrate, substrate_data
from proofpatch.physics.setting import finite_number
from proofpatch.sources import STATUS, sources
from proofpatch.units import to_si

HERE = Path(__file__).parent
EXCHANGE = 0.05  # m³/s, β: what passes between an operator's air and the room's, a low one; from memory, unverified
MOST_CAUGHT = 0.98  # no hood at a moving spot catches more; common practice, no source
ROOM_VOLUME = (0.1, 1e6)  # m³, of any room
NEAR = 10.0  # the air an operator breathes over that of a well-mixed room, 3 to 10; the worse end, from memory
MIXING = 3.0  # of the air let in only a third counts: rooms mix badly; from memory
# Protection factors of respirators (assigned, US federal), least first; from memory, unverified.
RESPIRATORS = (
    (10.0, "a half mask with P100 filters"), (50.0, "a full-face mask with P100 filters"),
    (1000.0, "a tight-fitting powered full-face respirator"),
)  # fmt: skip
SHIFT = 8 * 3600.0  # s, for which the limits are
UNHELD = ("carbon-monoxide", "isocyanates")  # gases no cartridge holds reliably
GASES = (*UNHELD, "formaldehyde")
OLD_CLEAR = "clear-old"
HOLDS = 0.5  # kg of dust a filter takes before it is changed; ours, from memory, unverified


@dataclass(frozen=True)
class AirLimit:
    """The strictest published limit known here [kg/m³], and whose."""

    agent: str
    name: str
    limit: float
    authority: str
    source: str
    status: str


@dataclass(frozen=True)
class Part:
    """What a layer or a face gives off. share: upper end of the mass that is the agent [1]."""

    agent: str
    share: float
    locator: str
    status: str


@dataclass(frozen=True)
class Agent:
    """One agent in the air. given_off [kg/s], in the room and near the operator [kg/m³], ratio: near over the limit."""

    limit: AirLimit
    given_off: float
    in_room: float
    near: float
    needed_air: float  # m³/s for the limit near the operator; infinite where no air brings it there
    locator: str
    status: str

    @property
    def ratio(self) -> float:
        """Near the operator over the limit [1]."""
        return self.near / self.limit.limit


@dataclass(frozen=True)
class Fume:
    """What a job puts into the air. removed: kg/s of all that comes off. agents: the worst against its limit first."""

    removed: float
    agents: tuple[Agent, ...]
    capture: float
    air: float
    volume: float
    seconds: float
    filter_seconds: float
    respirator: str
    filters: str
    waste: str
    assumptions: tuple[str, ...]

    @property
    def worst(self) -> Agent:
        """The agent furthest over its limit."""
        return self.agents[0]


def _rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file, strict=True))
    for row in rows:
        if row["source"] not in sources() or row["status"] not in STATUS:
            raise ValueError(f"{name}: a row has no known source or status.")
    return rows


@lru_cache(maxsize=1)
def air_limits() -> Mapping[str, AirLimit]:
    """Every limit by agent."""
    return MappingProxyType({
        row["agent"]: AirLimit(row["agent"], row["name"], float(row["limit"]) * _UNITS[row["unit"]], row["authority"],
                               row["source"], row["status"])
        for row in _rows("air_limits.csv")
    })  # fmt: skip


_UNITS = {"ug/m3": 1e-9, "mg/m3": 1e-6}


def parts_of(key: str, absent: Collection[str] = ()) -> tuple[Part, ...]:
    """What a coating may give off; of several rows for an agent the worst.

    Args:
        key: coating id. absent: agents that were shown absent; what the coating has by its own name stays.
    """
    about = coating(key)
    owners = {key, "coating", *(f"family:{family}" for family in about.families)}
    if about.kind == "clear film":
        owners.add(OLD_CLEAR)
    found: dict[str, Part] = {}
    for row in _rows("fume.csv"):
        share = float(row["share"])
        if row["subject"] in owners and (row["agent"] not in found or share > found[row["agent"]].share):
            found[row["agent"]] = Part(row["agent"], share, row["locator"], row["status"])
    # What a coating is made of by its own name no record takes out of it.
    own = {row["agent"] for row in _rows("fume.csv") if row["subject"] == key}
    for agent in set(absent) - own:
        found.pop(agent, None)
    return tuple(found.values())


def under_parts(key: str) -> tuple[tuple[Part, float], ...]:
    """(what a substrate's face may give off, depth of it that goes along [m])."""
    owners = {key, *(f"family:{family}" for family in substrate(key).families)}
    found: dict[str, tuple[Part, float]] = {}
    for row in _rows("fume_substrate.csv"):
        if row["subject"] in owners:
            part = Part(row["agent"], float(row["share"]), row["locator"], row["status"])
            depth = to_si(float(row["depth_um"]), "um")
            if row["agent"] not in found or part.share * depth > found[row["agent"]][0].share * found[row["agent"]][1]:
                found[row["agent"]] = (part, depth)
    return tuple(found.values())


def fume(
    area_rate: float,
    coatings: Iterable[str] | None,
    ground: str | None = None,
    thickness: float | None = None,
    capture: float = 0.0,
    volume: float = 30.0,
    air: float = 0.0,
    seconds: float = SHIFT,
    airborne: float = 1.0,
    absent: Collection[str] = (),
    below: Sequence[tuple[Sequence[str] | None, float | None]] = (),
) -> Fume:
    """What a job puts into the air.

    Args:
        area_rate: finished area [m²/s]. coatings: ids it may be; None: unknown, so the worst of all counts.
        ground: substrate id; None: nothing of it is counted.
        thickness [m]; None: the upper end of the data, the thickest of them.
        capture: share caught at the spot [1]. volume: of the room [m³]. air: fresh or filtered [m³/s].
        seconds: of work. airborne: share that floats [1].
        absent: agents that were shown absent.
        below: (coatings, thickness) of each further layer.

    Raises:
        InputError: a figure that is none.
    """
    area_rate = finite_number("area_rate", "Area rate", area_rate, 1e-9, 10.0, "m²/s")
    capture = finite_number("capture", "Captured share", capture, 0.0, MOST_CAUGHT, "")
    volume = finite_number("volume", "Room volume", volume, *ROOM_VOLUME, "m³")
    air = finite_number("air", "Air flow", air, 0.0, 1e4, "m³/s")
    seconds = finite_number("seconds", "Time of work", seconds, 1.0, 1e6, "s")
    airborne = finite_number("airborne", "Airborne share", airborne, 0.0, 1.0, "")
    if thickness is not None:
        thickness = finite_number("thickness", "Thickness", thickness, 1e-8, 2e-2, "m")
    known = tuple(coatings) if coatings is not None else coating_ids()
    if not known:
        raise InputError("coatings", "No coating is named.", "Leave it out where it is unknown.")
    layers = [(known, thickness), *((names or coating_ids(), thick) for names, thick in below)]
    masses, shares = _given_off(area_rate, layers, ground, absent)
    loose = airborne * (1.0 - capture)
    agents = [
        _agent(air_limits()[name], mass * loose, volume, air, seconds, *shares[name]) for name, mass in masses.items()
    ]
    agents.sort(key=lambda one: -one.ratio)
    removed = masses["dust"]
    caught = removed * capture
    return Fume(
        removed, tuple(agents), capture, air, volume, seconds,
        HOLDS / caught if caught > 0 else math.inf, _respirator(agents),
        _filters(agents), _waste(agents), _assumed(coatings, ground, airborne),
    )  # fmt: skip


def _given_off(
    area_rate: float, layers: Sequence[tuple[Sequence[str], float | None]], ground: str | None, absent: Collection[str]
) -> tuple[dict[str, float], dict[str, tuple[str, str]]]:
    """({agent: kg/s before any capture}, {agent: (why, status)}): of each layer the worst it may be, all together."""
    masses: dict[str, float] = {}
    words: dict[str, tuple[str, str]] = {}
    for known, thickness in layers:
        worst: dict[str, float] = {}
        for key in known:
            data = _worst(key)
            film = area_rate * (thickness if thickness is not None else data["thickness"]) * data["density"]
            for part in parts_of(key, absent):
                if film * part.share > worst.get(part.agent, 0.0):
                    worst[part.agent] = film * part.share
                    words[part.agent] = (part.locator, part.status)
        for agent, mass in worst.items():
            masses[agent] = masses.get(agent, 0.0) + mass
    for key in [ground] if ground is not None else []:
        heavy = substrate_data(key, "any" if not substrate(key).conditions else substrate(key).conditions[0])
        face = area_rate * heavy["density"].value
        for part, depth in under_parts(key):
            mass = face * depth * part.share
            masses[part.agent] = masses.get(part.agent, 0.0) + mass
            words.setdefault(part.agent, (part.locator, part.status))
            if part.agent not in ("dust", *GASES):
                masses["dust"] = masses.get("dust", 0.0) + mass
    return masses, words


@lru_cache(maxsize=64)
def _worst(key: str) -> Mapping[str, float]:
    """Upper ends of thickness [m] and density [kg/m³] over what a coating may be."""
    from proofpatch.materials import coating_mixture

    found = {"thickness": 0.0, "density": 0.0}
    for _, colour, condition in coating_mixture(key):
        data = coating_data(key, colour, condition)
        for name in found:
            high = data[name].high
            found[name] = max(found[name], data[name].value if high is None else high)
    return MappingProxyType(found)


def concentration(given_off: float, air: float, volume: float, seconds: float) -> float:
    """(2) [kg/m³] after `seconds`, the room clean at first; without air it only grows."""
    if air * seconds < 1e-6 * volume:
        return given_off * seconds / volume
    return given_off / air * -math.expm1(-air * seconds / volume)


def _agent(limit: AirLimit, loose: float, volume: float, air: float, seconds: float, why: str, status: str) -> Agent:
    in_room = concentration(loose, air / MIXING, volume, seconds)
    plume = loose / EXCHANGE
    near = max(NEAR * in_room, in_room + plume)
    # No air thins the plume itself: the room's mean may take what it leaves of the limit.
    left = min(limit.limit / NEAR, limit.limit - plume)
    return Agent(limit, loose, in_room, near, MIXING * loose / left if left > 0.0 else math.inf, why, status)


def _respirator(agents: Sequence[Agent]) -> str:
    """The least respirator behind which all agents together keep their limits; "" where none does."""
    ratio = max(sum(one.ratio for one in agents if one.limit.agent != "dust"), agents[0].ratio)
    if ratio > RESPIRATORS[-1][0]:
        return ""
    for factor, words in RESPIRATORS:
        for passing, gas in ((GASES, ""), (UNHELD, " with cartridges for organic vapour and acid gas")):
            through = sum(one.ratio for one in agents if one.limit.agent in passing)
            if through + (ratio - through) / factor <= 1.0:
                return f"at least {words}{gas}"
    return "supplied air, as no filter holds isocyanates or carbon monoxide reliably"


# Metals whose residue may be hazardous waste, with the leaching limit [mg/L] in US law; from memory, unverified.
LEACHED = {"lead": 5.0, "chromium-6": 5.0, "cadmium": 1.0, "arsenic": 5.0}


def _filters(agents: Sequence[Agent]) -> str:
    """Filter class of the extractor."""
    names = {one.limit.agent for one in agents}
    gas = " and an active-carbon stage for gas and smell" if names & set(GASES) else ""
    return (
        "Extractor: a spark arrestor, a pre-filter and a HEPA stage of H13 or better (99.95 % of the worst size)"
        f"{gas}; its exhaust outdoors or watched."
    )


def _waste(agents: Sequence[Agent]) -> str:
    """What the residue is until somebody tests it."""
    metals = [one.limit.name for one in agents if one.limit.agent in LEACHED]
    if not metals:
        return "Residue, filters and wipes are waste: bag them wet, label them, ask your disposal service."
    return (
        f"Residue, filters and wipes may hold {', '.join(metals)}: hazardous waste until a leaching test says "
        "otherwise; bag them wet, label them, keep them from drains."
    )


def _assumed(coatings: Iterable[str] | None, ground: str | None, airborne: float) -> tuple[str, ...]:
    found = [
        "Shares of the coating are upper ends, from memory, unverified; a laboratory result of yours beats them.",
        f"Near the operator {NEAR:.0f} times the room's mean, or what slow exchange leaves; a third of the air counts.",
        "Eight hours of work, as the limits are for.",
        "Hydrogen chloride and fluoride, cyanide, ozone and nitrogen oxides are not computed.",
        f"{'All' if airborne >= 1.0 else 'A part'} of what is removed floats.",
        "Limits are the strictest known here for eight hours; your law decides which one holds.",
    ]
    if coatings is None:
        found.append("The coating is unknown: the worst of every coating known here counts for each agent.")
    if ground is None:
        found.append("What lies below the coating is unknown: nothing of it is counted, and it may be the worst.")
    return tuple(found)
