"""A surface as its owner describes it: layers over a substrate, each doubt a mixture."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from proofpatch.errors import InputError, expect
from proofpatch.materials import coating, coating_mixture, find_coating, find_substrate, substrate_mixture
from proofpatch.physics.setting import finite_number
from proofpatch.units import percent

MOST_LAYERS = 6


@dataclass(frozen=True)
class Layer:
    """One coat.

    Args:
        coating: an id or everyday name, or {id: probability} where it is in doubt.
        thickness: mean dry thickness [m]; None: from the data.
        thickness_spread: relative standard deviation within the piece [1]; None: from the data.
        colour: white, pale, red-brown, blue-green, black, clear or unknown.
        condition: fresh, aged, tinted, dirty or unknown.

    Raises:
        InputError: an unknown name, a probability that is none, a thickness no coat has.
    """

    coating: str | Mapping[str, float]
    thickness: float | None = None
    thickness_spread: float | None = None
    colour: str = "unknown"
    condition: str = "unknown"

    def __post_init__(self) -> None:
        given = {self.coating: 1.0} if isinstance(self.coating, str) else self.coating
        if isinstance(given, tuple) and all(isinstance(pair, tuple) and len(pair) == 2 for pair in given):
            given = dict(given)  # an already checked Layer, copied with a change
        for field in ("colour", "condition"):
            expect(field, getattr(self, field), str, "Write it as text.")
        if not isinstance(given, Mapping) or not given:
            raise InputError(
                "coating", "The coating is neither a name nor a list of names with chances.", "Give a coating id."
            )
        shares: dict[str, float] = {}
        for name, share in given.items():
            share = finite_number("coating", f"The chance of {name}", share, 0.0, 1.0, "")
            key = find_coating(name)
            shares[key] = shares.get(key, 0.0) + share
        total = sum(shares.values())
        if abs(total - 1.0) > 0.01:
            raise InputError("coating", f"The chances of the coatings add up to {total:g}.", "Make them add up to 1.")
        # Kept as sorted pairs, so that a surface can be a key; `shares` reads them.
        object.__setattr__(
            self, "coating", tuple(sorted((key, share / total) for key, share in shares.items() if share > 0))
        )
        if self.thickness is not None:
            object.__setattr__(
                self, "thickness", finite_number("thickness", "Thickness", self.thickness, 1e-8, 2e-2, "m")
            )
        if self.thickness_spread is not None:
            spread = finite_number("thickness_spread", "Thickness spread", self.thickness_spread, 0.0, 2.0, "")
            object.__setattr__(self, "thickness_spread", spread)
        self.mixture()

    @property
    def shares(self) -> dict[str, float]:
        """{coating id: probability}, adding to 1."""
        assert isinstance(self.coating, tuple)
        return dict(self.coating)

    def mixture(self) -> list[tuple[float, str, str, str]]:
        """(weight, coating id, colour, condition) of every concrete coat this may be; weights add to 1."""
        return [
            (share * weight, key, colour, condition)
            for key, share in self.shares.items()
            for weight, colour, condition in coating_mixture(key, self.colour, self.condition)
        ]

    @property
    def title(self) -> str:
        """In words, with the chances where there is doubt."""
        names = [
            f"{coating(k).title} ({percent(p)})" if len(self.shares) > 1 else coating(k).title
            for k, p in self.shares.items()
        ]
        return " or ".join(names)


@dataclass(frozen=True)
class Surface:
    """Layers, top first, over a substrate.

    Args:
        layers: top first; a bare coating id stands for one Layer.
        substrate: an id or everyday name.
        condition: of the substrate; for wood new, aged, stained or unknown.
        substrate_thickness: [m]; None: a usual one, drawn wide.
        moisture: share of dry mass [1]; None: not measured.

    Raises:
        InputError: no layer, too many, or an unknown name.
    """

    layers: Sequence[Layer | str] | Layer | str
    substrate: str
    condition: str = "unknown"
    substrate_thickness: float | None = None
    moisture: float | None = None

    def __post_init__(self) -> None:
        given = self.layers if isinstance(self.layers, (list, tuple)) else (self.layers,)
        expect("condition", self.condition, str, "Write it as text.")
        if not given:
            raise InputError("layers", "The surface has no layer.", "Name at least one coating.")
        if len(given) > MOST_LAYERS:
            raise InputError(
                "layers", f"The surface has {len(given)} layers.", f"Join them into {MOST_LAYERS} at most."
            )
        layers = tuple(entry if isinstance(entry, Layer) else Layer(entry) for entry in given)
        object.__setattr__(self, "layers", layers)
        object.__setattr__(self, "substrate", find_substrate(self.substrate))
        if self.substrate_thickness is not None:
            value = finite_number(
                "substrate_thickness", "Substrate thickness", self.substrate_thickness, 1e-5, 10.0, "m"
            )
            object.__setattr__(self, "substrate_thickness", value)
        if self.moisture is not None:
            value = finite_number("moisture", "Moisture", self.moisture, 0.0, 1.0, "")
            object.__setattr__(self, "moisture", value)
        substrate_mixture(self.substrate, self.condition)

    @property
    def coats(self) -> tuple[Layer, ...]:
        """The layers, each a Layer."""
        assert isinstance(self.layers, tuple)
        return self.layers

    def components(self, most: int = 400) -> list[tuple[float, tuple[tuple[str, str, str], ...], str]]:
        """(weight, ((coating, colour, condition) per layer), substrate condition), weights adding to 1.

        Only the `most` likeliest are kept, so that six doubtful layers stay computable.
        """
        stacks: list[tuple[float, tuple[tuple[str, str, str], ...]]] = [(1.0, ())]
        for coat in self.coats:
            stacks = [
                (p * q, (*stack, (key, colour, state)))
                for p, stack in stacks
                for q, key, colour, state in coat.mixture()
            ]
            stacks = sorted(stacks, key=lambda item: -item[0])[:most]
        found = [
            (p * q, stack, state)
            for p, stack in stacks
            for q, state in substrate_mixture(self.substrate, self.condition)
        ]
        found = sorted(found, key=lambda item: -item[0])[:most]
        total = math.fsum(p for p, _, _ in found)
        return [(p / total, stack, state) for p, stack, state in found]
